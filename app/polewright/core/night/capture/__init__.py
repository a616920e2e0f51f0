"""The first turn of the RA axis, or the first drift: where does it point?"""
