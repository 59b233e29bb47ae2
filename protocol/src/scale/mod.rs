//! Stub.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("x")]
pub struct Fault;
pub struct Reading;
pub fn read(_: &str) -> Result<Reading, Fault> { Err(Fault) }
