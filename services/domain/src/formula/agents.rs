//! Restricted ingredients of a batch: how much stands in what base, against the limit of its class.
//! It never counts rework, water or another ingredient as green weight, and judges no average.

mod judging;

pub use judging::{Assessment, Floor, Holding, assess};

use crate::exact::Exact;
use crate::units::{Quantity, Unit};

macro_rules! words {
    ($(#[$doc:meta])* $name:ident {
        $($(#[$variant_doc:meta])* $variant:ident $word:literal),* $(,)?
    }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum $name {
            $($(#[$variant_doc])* $variant),*
        }

        impl $name {
            /// Every one, in the order of the contract.
            pub const ALL: &[Self] = &[$(Self::$variant),*];

            /// Its word in the contract.
            pub fn word(self) -> &'static str {
                match self {
                    $(Self::$variant => $word),*
                }
            }

            /// The one of this word.
            pub fn from_word(word: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|one| one.word() == word)
            }

            /// Every word, for a message that says what is allowed.
            pub fn words() -> String {
                Self::ALL.iter().map(|one| one.word()).collect::<Vec<_>>().join(" ")
            }
        }
    };
}

words! {
    /// How the product is made, which decides its limits.
    ProductClass {
        /// Chopped or ground, cooked.
        Comminuted "comminuted",
        /// Sausage that is not cooked.
        Fresh "fresh",
        /// Pumped or massaged, not bacon.
        Pumped "pumped",
        /// Cured in a pickle, not bacon.
        Immersion "immersion",
        /// Rubbed with dry cure, not bacon.
        DryCured "dry_cured",
        /// Bacon, pumped or massaged.
        BaconPumped "bacon_pumped",
        /// Bacon, pumped, with sugar and a starter culture.
        BaconPumpedStarter "bacon_pumped_starter",
        /// Bacon, cured in a pickle.
        BaconImmersion "bacon_immersion",
        /// Bacon, rubbed with dry cure.
        BaconDryCured "bacon_dry_cured",
    }
}

words! {
    /// A restricted ingredient, or one that a class must hold.
    Agent {
        /// Sodium nitrite, and potassium nitrite by its own weight.
        Nitrite "nitrite",
        /// Sodium nitrate, and potassium nitrate by its own weight.
        Nitrate "nitrate",
        /// Sodium erythorbate or ascorbate.
        Erythorbate "erythorbate",
        /// Erythorbic or ascorbic acid.
        ErythorbicAcid "erythorbic_acid",
        /// Approved phosphates.
        Phosphate "phosphate",
        /// Sodium or potassium lactate.
        Lactate "lactate",
        /// Sodium diacetate.
        Diacetate "diacetate",
        /// Cereal, starch, dry milk, whey, soy flour, soy protein concentrate.
        Binder "binder",
        /// Isolated soy protein.
        IsolatedSoyProtein "isolated_soy_protein",
        /// Sodium caseinate.
        Caseinate "caseinate",
        /// Pork collagen.
        Collagen "collagen",
        /// Transglutaminase enzyme.
        Transglutaminase "transglutaminase",
        /// Sugar.
        Sugar "sugar",
        /// A lactic acid starter culture.
        StarterCulture "starter_culture",
    }
}

words! {
    /// What a ppm is a part of.
    Basis {
        /// Raw meat, by-products and poultry, and nothing else.
        Green "green",
        /// All that goes into the batch.
        Formula "formula",
        /// The finished product.
        Product "product",
    }
}

impl ProductClass {
    /// True where the cure is pumped or massaged in.
    pub fn is_pumped(self) -> bool {
        matches!(self, Self::Pumped | Self::BaconPumped | Self::BaconPumpedStarter)
    }

    /// True where the meat lies in a pickle.
    pub fn is_immersion(self) -> bool {
        matches!(self, Self::Immersion | Self::BaconImmersion)
    }
}

impl Agent {
    /// The agent under which a word of a line counts: the potassium salts under their own anion.
    pub fn of_line_word(word: &str) -> Option<Self> {
        match word {
            "potassium_nitrite" => Some(Self::Nitrite),
            "potassium_nitrate" => Some(Self::Nitrate),
            _ => Self::from_word(word),
        }
    }

    /// Every word that a line may carry.
    pub fn line_words() -> String {
        format!("{} potassium_nitrite potassium_nitrate", Self::words())
    }

    /// The base on which it is shown where its class holds no rule for it.
    fn usual_basis(self) -> Basis {
        match self {
            Self::Phosphate | Self::Binder | Self::IsolatedSoyProtein | Self::Caseinate => {
                Basis::Product
            }
            Self::Lactate | Self::Diacetate | Self::Collagen | Self::Transglutaminase => {
                Basis::Formula
            }
            _ => Basis::Green,
        }
    }
}

/// An agent in a line and the share of the line that it makes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Active {
    /// Which agent.
    pub agent: Agent,
    /// Its share of the line's mass, 0 to 100 %: the strength of the ingredient's own lot.
    pub pct: Exact,
}

/// An ingredient of a batch other than its raw meat.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// Its name as a person wrote it; may be empty.
    pub name: String,
    /// Its mass, not negative.
    pub mass: Quantity,
    /// True for cooked product that is worked in again.
    pub rework: bool,
    /// The agent that it brings, if any.
    pub active: Option<Active>,
}

impl Line {
    /// The pure agent of this line in grams; 0 when it brings another or none.
    pub(super) fn agent_base(&self, agent: Agent) -> Exact {
        match &self.active {
            Some(active) if active.agent == agent => {
                self.mass.base() * &active.pct / super::hundred()
            }
            _ => Exact::zero(),
        }
    }
}

/// A pickle: its mass, and how much of the green weight is pumped or picked up.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pickle {
    /// The whole pickle, above 0.
    pub mass: Quantity,
    /// Gain in per cent of green weight; absent: meat and pickle come to an equilibrium.
    pub pump_pct: Option<Exact>,
}

/// What goes into one batch, as it is or as it is planned.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Batch {
    /// How the product is made.
    pub class: ProductClass,
    /// The unit in which masses are answered.
    pub unit: Unit,
    /// Raw meat, by-products and poultry; only a pumped batch may do without.
    pub meat: Option<Quantity>,
    /// Everything else.
    pub lines: Vec<Line>,
    /// All that goes in; absent: meat plus all lines.
    pub formula_mass: Option<Quantity>,
    /// The finished product.
    pub finished_mass: Option<Quantity>,
    /// The pickle of a pumped or immersed product.
    pub pickle: Option<Pickle>,
}

impl Batch {
    /// Green weight in grams: as given, else what the pickle is enough for.
    fn meat_base(&self) -> Option<Exact> {
        let given = self.meat.as_ref().map(Quantity::base);
        given.or_else(|| {
            let pickle = self.pickle.as_ref()?;
            super::percent_of(&pickle.mass.base(), pickle.pump_pct.as_ref()?)
        })
    }

    /// The part of each line that ends up in the meat.
    pub(super) fn taken_up(&self) -> Option<Exact> {
        let Some(pickle) = &self.pickle else { return Some(Exact::one()) };
        let pickle_base = pickle.mass.base();
        match &pickle.pump_pct {
            Some(pump_pct) => {
                (self.meat_base()? * pump_pct).checked_div(&(super::hundred() * pickle_base))
            }
            None => {
                let meat = self.meat_base()?;
                let both = &meat + &pickle_base;
                meat.checked_div(&both)
            }
        }
    }

    /// All that goes into the product, in grams.
    fn formula_base(&self) -> Option<Exact> {
        if let Some(given) = &self.formula_mass {
            return Some(given.base());
        }
        let lines: Exact = self.lines.iter().map(|line| line.mass.base()).sum();
        Some(self.meat_base()? + lines * self.taken_up()?)
    }

    /// Parts of a basis that one gram of a line makes: ppm = grams × this × 1 000 000.
    pub(super) fn share_per_gram(&self, basis: Basis) -> Option<Exact> {
        let whole = match basis {
            Basis::Green => return self.green_per_gram(),
            Basis::Formula => self.formula_base()?,
            Basis::Product => self.finished_mass.as_ref()?.base(),
        };
        self.taken_up()?.checked_div(Some(&whole).filter(|whole| whole.is_positive())?)
    }

    fn green_per_gram(&self) -> Option<Exact> {
        let Some(pickle) = &self.pickle else {
            return Exact::one().checked_div(&self.meat_base()?);
        };
        let pickle_base = pickle.mass.base();
        match &pickle.pump_pct {
            Some(pump_pct) => pump_pct.checked_div(&(super::hundred() * pickle_base)),
            None => Exact::one().checked_div(&(self.meat_base()? + pickle_base)),
        }
    }

    /// Pure agent in grams that the batch's own lines bring, rework left out.
    pub(super) fn agent_base(&self, agent: Agent) -> Exact {
        self.lines.iter().filter(|line| !line.rework).map(|line| line.agent_base(agent)).sum()
    }
}

#[cfg(test)]
pub(crate) mod tests;
