//! What is known of one place.
