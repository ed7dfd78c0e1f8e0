//! The emulated board against the host. Needs the image and QEMU: `rigs/board/build.sh` first.

mod bit_exact;
mod emulated;
mod failures;
mod flashable;
mod recorded;
mod riscv;
mod stm32;
mod support;
