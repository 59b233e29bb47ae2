//! Bytes in, whole lines out: a splitter with a length cap that comes back after noise.
