//! The real page in a real browser: Chromium, driven through ChromeDriver.

mod checked;
mod driver;
mod hand;
mod keys;
mod texts;
mod timing;
