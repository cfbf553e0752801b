"""Pictures services: how are photographs read, cleaned and kept?"""
