//! GS1 keys, element strings and web addresses by the GS1 syntax dictionary, so that what is on a
//! label and what is scanned mean the same.
//! It never draws or reads a barcode: it works on the text that a reader sends.

mod codes;
mod date;
pub mod dictionary;
mod digital_link;
mod element_string;
pub mod key;
mod linter;
mod message;
mod pairing;

pub use digital_link::read_uri;
pub use element_string::{SEPARATOR, encode, parse};
pub use message::{Element, Message};
