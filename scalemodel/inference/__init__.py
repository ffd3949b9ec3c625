"""The posterior: a sampler without tuning, and its diagnostics."""
