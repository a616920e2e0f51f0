"""Star detection without I/O: measuring candidates on small windows, telling stars from everything else.

The whole-frame pixel work (thresholds, filters, background meshes) is done by libraries in services/detector.py.
"""
