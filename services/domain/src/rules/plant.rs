//! A plant's own limit on top of a published one: which of the two is in force, and why.
//! It never loosens a limit on a plant's word alone.

use crate::exact::Exact;

/// On which side of a limit it is met.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// The value must not be above the limit.
    AtMost,
    /// The value must not be below the limit.
    AtLeast,
}

/// What a plant rests a limit of its own on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Support {
    /// Who says that it is safe: a process authority, a study's authors.
    pub authority: String,
    /// The document that says so.
    pub document: String,
}

/// A limit that a plant has set and validated.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlantLimit {
    /// The limit, in the unit of the published one.
    pub limit: Exact,
    /// Needed when it is looser than the published one.
    pub support: Option<Support>,
}

/// Whose limit is in force.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Source {
    /// The published rule's.
    Published,
    /// The plant's own, which is at least as strict.
    PlantStricter,
    /// The plant's own, which is looser and rests on this.
    PlantLooser(Support),
}

/// The limit to judge by.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InForce {
    /// The limit.
    pub limit: Exact,
    /// Whose it is.
    pub source: Source,
}

/// A looser limit names nobody who stands for it, or no document.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LooserWithoutSupport;

/// The limit in force where a rule publishes `published` and the plant may have set its own: a
/// stricter one always counts, a looser one only with authority and document named.
/// Errors: a looser limit without both.
pub fn in_force(
    side: Side,
    published: &Exact,
    plant: Option<&PlantLimit>,
) -> Result<InForce, LooserWithoutSupport> {
    let Some(own) = plant else {
        return Ok(InForce { limit: published.clone(), source: Source::Published });
    };
    let is_stricter = match side {
        Side::AtMost => own.limit <= *published,
        Side::AtLeast => own.limit >= *published,
    };
    let source = if is_stricter {
        Source::PlantStricter
    } else {
        let named = |support: &&Support| {
            !support.authority.trim().is_empty() && !support.document.trim().is_empty()
        };
        let support = own.support.as_ref().filter(named).ok_or(LooserWithoutSupport)?;
        Source::PlantLooser(support.clone())
    };
    Ok(InForce { limit: own.limit.clone(), source })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn own(limit: i64, support: Option<(&str, &str)>) -> PlantLimit {
        let support =
            support.map(|(who, what)| Support { authority: who.into(), document: what.into() });
        PlantLimit { limit: Exact::whole(limit), support }
    }

    #[test]
    fn a_stricter_limit_always_counts() {
        let published = Exact::whole(5400);
        let found = in_force(Side::AtMost, &published, Some(&own(3600, None))).expect("a limit");
        assert_eq!((found.limit, found.source), (Exact::whole(3600), Source::PlantStricter));
        let published = Exact::whole(155);
        let found = in_force(Side::AtLeast, &published, Some(&own(158, None))).expect("a limit");
        assert_eq!(found.limit, Exact::whole(158));
        let found = in_force(Side::AtLeast, &published, None).expect("a limit");
        assert_eq!((found.limit, found.source), (published, Source::Published));
    }

    #[test]
    fn a_looser_limit_needs_a_name_and_a_document() {
        let published = Exact::whole(5400);
        for support in [None, Some(("", "a study")), Some(("an authority", " "))] {
            let found = in_force(Side::AtMost, &published, Some(&own(7200, support)));
            assert_eq!(found, Err(LooserWithoutSupport));
        }
        let supported = own(7200, Some(("an authority", "a study")));
        let found = in_force(Side::AtMost, &published, Some(&supported)).expect("a limit");
        assert!(matches!(found.source, Source::PlantLooser(_)));
        assert_eq!(found.limit, Exact::whole(7200));
    }
}
