"""Linear mixed model.

How is a linear mixed model with a random line per group fitted in time that rows hardly touch?

`rows` reduces the rows of each group to a 2 by 2 factor and two rows of products, in one pass.
`likelihood` evaluates the deviance and its two derivatives from those. `newton` minimises it.
`search` starts it from several points and keeps the best. `forecast.linear.slopes` is the public
face.
"""
