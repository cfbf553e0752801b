"""Integer programmes of a plan.

Which pair is worn how often in each period, and in which week is it sent, at best? `milp_builder`
calls the solver, `share_model` names the variables, and `crowds` and `resting` write rows.
`sharing` finds wears and hand-overs by weeks and the bound, `large_racks` hand-overs of many pairs.
"""
