//! The bench tool as a library: link client, procedures, records, verdicts, reports.
