//! Simulated days that nothing was tuned on. Their seeds were written down before the days were first
//! ridden, and none was exchanged for another afterwards.

mod drag;

mod passes;

mod workbench;
