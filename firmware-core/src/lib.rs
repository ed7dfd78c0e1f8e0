//! VGT vane-position controller core.
#![no_std]
