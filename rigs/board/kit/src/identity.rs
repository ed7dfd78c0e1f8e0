//! Names for the hello.

/// The link's strings are short; a longer one is cut, never refused.
#[must_use]
pub fn short<const N: usize>(text: &str) -> heapless::String<N> {
    let mut out = heapless::String::new();
    for letter in text.chars() {
        if out.push(letter).is_err() {
            break;
        }
    }
    out
}
