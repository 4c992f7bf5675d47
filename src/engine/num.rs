//! Exact transcendental functions; to come.
