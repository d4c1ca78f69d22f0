//! Passwords: what is kept of one (Argon2id), how one is tried, and one-time ones.
//! It never keeps a password, and takes as long for an unknown name as for a known one.

use std::sync::Arc;

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use domain::fault::Faults;
use platform::error::Failure;
use platform::records;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// The fewest characters of a password.
const LENGTH_MIN: usize = 10;
/// Passwords worked on at once: each takes 19 MiB and tens of milliseconds of a core.
const AT_ONCE: usize = 2;
/// What stands in for the verifier of a name that nobody has: no password is known to match it.
const NOBODY: &str = "$argon2id$v=19$m=19456,t=2,p=1$aGFua2Jvb2stbm9ib2R5$\
    mHUVBqtzZGOKtCIHbGKP1Hq2ae3bqpP7HP5sd3/Y4ns";
/// The letters of one-time passwords: none that are taken for another.
const LETTERS: &[u8; 32] = b"abcdefghjkmnpqrstuvwxyz123456789";

/// Makes and tries verifiers, a few at a time, away from the threads that answer calls.
#[derive(Clone)]
pub struct Hasher {
    permits: Arc<Semaphore>,
}

impl Default for Hasher {
    fn default() -> Self {
        Self { permits: Arc::new(Semaphore::new(AT_ONCE)) }
    }
}

impl Hasher {
    /// Waits for a turn. One try of a password holds its turn from counting to judging, so that
    /// tries made at once cannot all be counted before the limit.
    pub async fn turn(&self) -> Result<OwnedSemaphorePermit, Failure> {
        self.permits.clone().acquire_owned().await.map_err(Failure::internal)
    }

    /// The verifier of a password: a PHC text of Argon2id with a salt of its own. The work factors
    /// (19 MiB, 2 passes, 1 lane) are the library's, which follow the OWASP password storage page.
    pub async fn verifier(&self, password: String) -> Result<String, Failure> {
        let _turn = self.turn().await?;
        let work = move || verifier(&password);
        tokio::task::spawn_blocking(work).await.map_err(Failure::internal)?
    }

    /// Whether a password is right; without a verifier it is wrong, after as much work.
    pub async fn is_right(
        &self,
        _turn: &OwnedSemaphorePermit,
        password: String,
        verifier: Option<String>,
    ) -> Result<bool, Failure> {
        let work = move || {
            let known = verifier.as_deref();
            is_right(&password, known.unwrap_or(NOBODY)) && known.is_some()
        };
        tokio::task::spawn_blocking(work).await.map_err(Failure::internal)
    }
}

fn verifier(password: &str) -> Result<String, Failure> {
    let made: Result<PasswordHash, _> = Argon2::default().hash_password(password.as_bytes());
    made.map(|hash| hash.to_string()).map_err(|error| Failure::internal(error.to_string()))
}

fn is_right(password: &str, verifier: &str) -> bool {
    Argon2::default().verify_password(password.as_bytes(), verifier).is_ok()
}

/// Refuses a new password that is too short.
pub fn check_new(password: &str, field: &str, faults: &mut Faults) {
    if password.chars().count() < LENGTH_MIN {
        faults.add(field, format!("must have at least {LENGTH_MIN} characters"));
    }
}

/// A random password of 80 bits in groups that can be read out.
pub fn one_time() -> String {
    let random = records::new_secret().into_bytes();
    // Bytes 6 and 8 of a random id hold its version and variant, which are fixed.
    let bits = random[..6].iter().chain(&random[12..16]);
    let bits = bits.fold(0_u128, |bits, byte| bits << 8 | u128::from(*byte));
    let letters = (0..16).map(|at| char::from(LETTERS[(bits >> (5 * at) & 31) as usize]));
    let mut text = String::new();
    for (at, letter) in letters.enumerate() {
        if at > 0 && at % 4 == 0 {
            text.push('-');
        }
        text.push(letter);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_verifier_knows_its_password_alone() {
        let kept = verifier("a long enough one").expect("a verifier");
        assert!(is_right("a long enough one", &kept));
        assert!(!is_right("a long enough two", &kept));
        assert_ne!(kept, verifier("a long enough one").expect("another salt"));
    }

    #[test]
    fn an_unknown_name_costs_as_much_work_as_a_known_one() {
        let kept = verifier("a long enough one").expect("a verifier");
        let head = |text: &str| text.rsplitn(3, '$').last().map(str::to_owned);
        assert_eq!(head(&kept), head(NOBODY));
        assert!(PasswordHash::new(NOBODY).is_ok_and(|hash| hash.hash.is_some()));
    }

    #[test]
    fn one_time_passwords_are_long_and_differ() {
        let (one, other) = (one_time(), one_time());
        assert_eq!(one.len(), 19);
        assert_ne!(one, other);
        let mut faults = Faults::new();
        check_new(&one, "password", &mut faults);
        assert!(faults.is_empty());
        check_new("ninechars", "password", &mut faults);
        assert!(!faults.is_empty());
    }
}
