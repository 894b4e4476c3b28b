//! The engine: a folder → everything above, in order.
