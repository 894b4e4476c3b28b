//! Whole-program and outside checks, one file per promise.

mod fitdecode;
mod outside;
mod recordings;
mod usage;
