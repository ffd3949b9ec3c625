"""Is the estimator right? Invented boilers, a second sampler, looks that do not fit, beliefs changed in turn."""
