//! Weighings, and what they say together: shrink from stage to stage, and what the inputs cost.
//! It never fills in a mass that nobody weighed: a stage that is not whole stays out and is named.

pub mod cost;
pub mod flow;
pub mod stages;
pub mod weighing;

#[cfg(test)]
mod tests;
