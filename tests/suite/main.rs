//! Whole-program and outside checks, one file per promise.

mod bad_input;

mod courses;

mod days;

mod effects;

mod both_ways;
mod browser;

mod export;
mod fitdecode;

mod held_out;

mod hostile;

mod hand_marked;

mod joined;

mod joint_days;

mod looks;

mod mixed_models;

mod new;

mod outside;

mod plan;

mod predict;

mod program;

mod real_effects;

mod recordings;

mod rehearse;

mod report;

mod page;
mod roads;

mod streams;

mod stopwatch;

mod tutorial;
mod usage;
mod watch;

mod day_notes;

mod docs;
