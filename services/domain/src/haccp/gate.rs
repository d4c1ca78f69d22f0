//! Whether what ships is proved: the safety gate's judgement over the closure of what ships.
//! It never records anything, and what it cannot prove stands in the way.

pub mod question;
