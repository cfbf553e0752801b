"""Page contexts: what does each page need to know, made from frames?"""
