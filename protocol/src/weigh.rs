//! Stub.
use crate::time::Mono; use crate::finding::Flag; use serde::*;
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Weigher;
pub struct Weighed { pub at: Mono, pub g: f64, pub sd_g: f64, pub flags: Vec<Flag> }
impl Weigher { pub fn take(&mut self, _: Mono, _: &crate::scale::Reading) {} pub fn advance(&mut self, _: Mono) {} pub fn finish(&mut self) {} pub fn deadline(&self) -> Option<Mono> { None } pub fn poll(&mut self) -> Option<Weighed> { None } }
