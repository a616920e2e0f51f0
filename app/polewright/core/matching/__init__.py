"""Star patterns: from a list of star images to a plate solution, in pure numpy.

hint.py            what is known beforehand
image_stars.py     the detected stars under an assumed camera
codes.py           the shape of four stars as five numbers
star_quads.py      which fours of an image are tried
work.py            what takes a while
layers.py          subsets of the catalogue of even density
pattern_index.py   all fours of one layer, filed by their codes
quad_search.py     candidates from the pattern index
poses.py           matched stars -> attitude and scale
shortlist.py       which poses find further stars
growth.py          from a candidate to a fitted solution with its odds
leading_reason.py  why a frame has no place on the sky: which reason leads
plate_fit.py       least squares of attitude, scale, distortion
evidence.py        the odds of a pose against chance
"""
