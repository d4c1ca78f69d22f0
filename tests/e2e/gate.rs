//! The gate: lots, loads and checks through REST, and a dock that opens only for what is proved.
//! It never knows more than the contract.

mod cooking;
pub mod day;
mod forms;
pub mod goods;
mod histories;
mod making;
mod race;
mod review;
mod s2;
mod s3;
mod s5;
mod several;
mod shipping;
mod silence;
mod verification;
