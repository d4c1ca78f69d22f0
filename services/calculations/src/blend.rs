//! The cheapest blend, from message to message.
//! It never chooses between blends of one cost: it gives the one that the solver found.

use domain::exact::Exact;
use domain::fault::Faults;
use domain::formula::blend::{self, Blend, Material, Optimum, Property, Target};
use wire::v1::{
    BlendAchieved, BlendBinding, BlendMass, BlendMaterial, BlendRequest, BlendResponse, BlendTarget,
};

use crate::{masses, shape};

/// The most materials of one blend.
const MOST_MATERIALS: usize = 200;

/// The cheapest blend, or which limits cannot hold together. Faults: a least above its most, a
/// name or a bound given twice, a percentage that a target needs and a material lacks.
pub fn calculate(request: BlendRequest) -> Result<BlendResponse, Faults> {
    let mut faults = Faults::new();
    masses::not_empty(&request.materials, "materials", &mut faults);
    if request.materials.len() > MOST_MATERIALS {
        faults.add("materials", format!("must hold at most {MOST_MATERIALS} entries"));
    }
    if request.total_kg.is_none() {
        shape::missing("total_kg", &mut faults);
    }
    let total_kg = shape::positive(request.total_kg.as_deref(), "total_kg", &mut faults);
    let targets = read_targets(&request.targets, &mut faults);
    let given = request.materials.iter().enumerate();
    let materials: Vec<Option<Material>> =
        given.map(|(at, material)| read_material(material, at, &mut faults)).collect();
    check_names(&request.materials, &mut faults);
    for (at, material) in materials.iter().enumerate() {
        let Some(material) = material else { continue };
        for target in &targets {
            if material.pct[target.property as usize].is_none() {
                let word = target.property.word();
                let message = "is needed, as a target limits it";
                faults.add(format!("materials[{at}].{word}"), message);
            }
        }
    }
    let materials: Option<Vec<Material>> = materials.into_iter().collect();
    let (materials, total_kg) = faults.into_result(materials.zip(total_kg))?;
    match blend::blend(&materials, &targets, &total_kg) {
        Some(Blend::Optimal(optimum)) => Ok(optimal(&materials, &optimum)),
        Some(Blend::Infeasible(conflicts)) => Ok(BlendResponse {
            status: Some("INFEASIBLE".to_owned()),
            conflicts,
            ..Default::default()
        }),
        None => {
            let mut faults = Faults::new();
            faults.add("materials", "must state every percentage that a target limits");
            Err(faults)
        }
    }
}

fn read_material(material: &BlendMaterial, at: usize, faults: &mut Faults) -> Option<Material> {
    let whole = format!("materials[{at}]");
    let field = |part: &str| format!("{whole}.{part}");
    if material.name.is_empty() {
        shape::missing(&field("name"), faults);
    }
    let given = [
        ("fat_pct", material.fat_pct.as_deref()),
        ("moisture_pct", material.moisture_pct.as_deref()),
        ("protein_pct", material.protein_pct.as_deref()),
    ];
    let pct = masses::parts(given, &whole, faults);
    if material.cost_per_kg.is_none() {
        shape::missing(&field("cost_per_kg"), faults);
    }
    let cost = shape::number(material.cost_per_kg.as_deref(), &field("cost_per_kg"), faults);
    let min_kg = shape::not_negative(material.min_kg.as_deref(), &field("min_kg"), faults);
    let max_kg = shape::not_negative(material.max_kg.as_deref(), &field("max_kg"), faults);
    check_order(min_kg.as_ref(), max_kg.as_ref(), &field("min_kg"), faults);
    Some(Material { name: material.name.clone(), pct: pct?, cost_per_kg: cost?, min_kg, max_kg })
}

fn check_order(min: Option<&Exact>, max: Option<&Exact>, field: &str, faults: &mut Faults) {
    if let Some((min, max)) = min.zip(max).filter(|(min, max)| min > max) {
        faults.add_value(field, min, format!("must not be above the most, {max}"));
    }
}

fn check_names(materials: &[BlendMaterial], faults: &mut Faults) {
    for (at, material) in materials.iter().enumerate() {
        let is_taken = materials[..at].iter().any(|before| before.name == material.name);
        if is_taken && !material.name.is_empty() {
            let message = "must differ from the names before it";
            faults.add_value(format!("materials[{at}].name"), &material.name, message);
        }
    }
}

/// One target for each property; a least and a most of one property may come apart.
fn read_targets(given: &[BlendTarget], faults: &mut Faults) -> Vec<Target> {
    let mut targets: Vec<Target> = Vec::new();
    for (at, target) in given.iter().enumerate() {
        let field = |part: &str| format!("targets[{at}].{part}");
        let property = Property::from_word(&target.property);
        if property.is_none() {
            let words = Property::ALL.map(Property::word).join(" ");
            let allowed = format!("must be one of: {words}");
            faults.add_value(field("property"), &target.property, allowed);
        }
        if target.min.is_none() && target.max.is_none() {
            faults.add(field("min"), "is needed, or max");
        }
        let min = shape::percentage(target.min.as_deref(), &field("min"), faults);
        let max = shape::percentage(target.max.as_deref(), &field("max"), faults);
        let Some(property) = property else { continue };
        let at_property = targets.iter().position(|target| target.property == property);
        let at_property = at_property.unwrap_or_else(|| {
            targets.push(Target { property, min: None, max: None });
            targets.len() - 1
        });
        let merged = &mut targets[at_property];
        for (slot, new, part) in [(&mut merged.min, min, "min"), (&mut merged.max, max, "max")] {
            if slot.is_some() && new.is_some() {
                faults.add(field(part), "is given twice for this property");
            }
            *slot = new.or_else(|| slot.take());
        }
        check_order(merged.min.as_ref(), merged.max.as_ref(), &field("min"), faults);
    }
    targets
}

fn optimal(materials: &[Material], optimum: &Optimum) -> BlendResponse {
    let mass = |(material, kg): (&Material, &Exact)| BlendMass {
        name: Some(material.name.clone()),
        kg: shape::number_out(kg),
    };
    let pct = |property: Property| {
        optimum.achieved[property as usize].as_ref().and_then(shape::number_out)
    };
    let binding = optimum.binding.iter().map(|binding| BlendBinding {
        limit: Some(binding.limit.clone()),
        shadow_price: shape::number_out(&binding.shadow_price),
    });
    BlendResponse {
        status: Some("OPTIMAL".to_owned()),
        total_cost: shape::number_out(&optimum.total_cost),
        masses: materials.iter().zip(&optimum.kg).map(mass).collect(),
        achieved: Some(BlendAchieved {
            fat_pct: pct(Property::Fat),
            moisture_pct: pct(Property::Moisture),
            protein_pct: pct(Property::Protein),
        }),
        binding: binding.collect(),
        conflicts: Vec::new(),
        cautions: Vec::new(),
    }
}
