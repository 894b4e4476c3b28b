//! The road-load balance, virtual elevation and forward integration: pure functions; knows no files, no fitting.
