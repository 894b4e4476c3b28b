//! Whole-program and outside checks, one file per promise.

mod fitdecode;
mod outside;

mod streams;

mod recordings;
mod usage;

mod docs;
