//! Names people typed as parts of file names.

/// A name as part of a file name: lower case letters and digits, everything else one dash.
/// Never empty, never starts with a dot, no longer than 60 characters.
#[must_use]
pub fn slug(name: &str) -> String {
    let mut slug = String::new();
    for c in name.to_lowercase().chars() {
        if c.is_alphanumeric() {
            slug.push(c);
        } else if !slug.ends_with('-') && !slug.is_empty() {
            slug.push('-');
        }
    }
    let slug: String = slug.trim_end_matches('-').chars().take(60).collect();
    if slug.is_empty() {
        "unnamed".into()
    } else {
        slug
    }
}
