//! Finished packs: whether they hold what their label says, and charts of what a line does.
//! It never says why a pack is short or a point is out.

pub mod control_chart;
pub mod net_contents;
