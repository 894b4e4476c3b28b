//! Whole-program and outside checks, one file per promise.

mod outside;

mod streams;

mod usage;
