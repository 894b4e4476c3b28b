//! Whole-program and outside checks, one file per promise.

mod fitdecode;
mod hand_marked;
mod outside;

mod streams;

mod recordings;
mod usage;
