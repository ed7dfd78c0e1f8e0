//! A rig without hardware: `firmware-core` and `host-sim` behind a pseudo-terminal or in process.
