"""A simulated rig under a simulated sky; shares no astronomy code with the estimator."""
