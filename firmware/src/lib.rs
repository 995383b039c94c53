//! The counter as a thing with pins: generic over embedded-hal, with no chip and no board in it.
//!
//! A board passes its pins and calls two functions: [`sampler::PinSampler::sample`] at a fixed
//! rate (or its own hardware fills the words), and [`app::App::poll`] every millisecond. The desktop's
//! simulated bench is such a board, so whatever it proves, it proves on this code.
#![no_std]
#![forbid(unsafe_code)]

pub mod app;
pub mod display;
mod encoder_input;
pub mod link;
pub mod notice;
pub mod offer;
pub mod oled;
pub mod panel;
pub mod pwm;
mod redraw;
pub mod ring;
pub mod sampler;
mod saving;
pub mod screen_chip;
pub mod store;
pub mod tester;
pub mod usb_control;
