//! Checks what stands in the way of pallets, and what is said of each.
//! It never asks a database or haccp.

use super::*;

#[test]
fn nothing_is_here_yet() {
    assert_eq!(super::super::cases_said(1), "1 case");
}
