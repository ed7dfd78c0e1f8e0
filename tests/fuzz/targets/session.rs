#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| vanebench_fuzz::readers::session(bytes));
