//! The plant's rooms and machines.
//! It never says what happens in them.

/// Name and kind.
pub const PLACES: [(&str, &str); 20] = [
    ("Receiving", "receiving"),
    ("Raw cooler", "cooler"),
    ("Dry store", "store"),
    ("Spice room", "spice_room"),
    ("Grinder 1", "grinder"),
    ("Mixer 1", "mixer"),
    ("Stuffer 1", "stuffer"),
    ("Stuffer 2", "stuffer"),
    ("Drying cooler", "drying_cooler"),
    ("House 1", "house"),
    ("House 2", "house"),
    ("House 3", "house"),
    ("Blast cell", "blast_cell"),
    ("Cooler 4", "cooler"),
    ("Peeler", "peeler"),
    ("Packing line 1", "packing_line"),
    ("Packing line 2", "packing_line"),
    ("Detector 1", "metal_detector"),
    ("Detector 2", "metal_detector"),
    ("Dock", "dock"),
];

/// The plant's own cold store across the road.
pub const COLD_STORE: (&str, &str) = ("Cold store", "cold_store");

/// Thermometers: name, kind, tolerance and what each shows too much, in [degF].
pub const INSTRUMENTS: [(&str, &str, &str, f64); 4] = [
    ("T-01", "thermometer", "1.0", 0.0),
    ("T-02", "thermometer", "1.0", 0.2),
    ("T-03", "thermometer", "1.0", 0.4),
    ("T-05", "thermometer", "1.0", -0.2),
];
/// At the receiving door.
pub const RECEIVING_THERMOMETER: &str = "T-01";
/// At the mixer.
pub const MIXER_THERMOMETER: &str = "T-02";
/// Of the cook supervisor.
pub const COOK_THERMOMETER: &str = "T-03";
/// On the dock.
pub const DOCK_THERMOMETER: &str = "T-05";
