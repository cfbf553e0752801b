"""Who may come in, as whom, and what may they do there?"""
