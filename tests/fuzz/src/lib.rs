//! Fuzz targets; what each does with its bytes stands in [`readers`], which the quick tests share.

pub mod readers;
