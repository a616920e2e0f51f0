"""A simulated rig under a simulated sky; shares no astronomy code with the estimator.

Decided 2026-11-25. The simulator is a second opinion. It computes apparent places by another route (equinox based
matrices, vector aberration, a ray-traced atmosphere) and an import contract forbids it the estimator's modules.
Sharing the ERFA astrometry context was rejected: a common mistake would cancel.
"""
