//! The sky glow of a channel.
