//! Arms of a match that take whatever is left of one of our own enums: a new variant then goes unnoticed.
//! What stands inside a tuple or another variant is not looked at.

use std::collections::BTreeSet;

use syn::spanned::Spanned;
use syn::visit::{self, Visit};

use crate::source::Source;

/// Places of such arms.
pub(crate) fn over_own_enums(sources: &[Source]) -> Vec<String> {
    let mut own = Enums(BTreeSet::new());
    sources.iter().for_each(|source| own.visit_file(&source.tree));
    let mut arms = Arms { own: &own.0, of: None, path: String::new(), found: Vec::new() };
    for source in sources {
        arms.path.clone_from(&source.path);
        arms.visit_file(&source.tree);
    }
    arms.found
}

struct Enums(BTreeSet<String>);

impl<'tree> Visit<'tree> for Enums {
    fn visit_item_enum(&mut self, item: &'tree syn::ItemEnum) {
        self.0.insert(item.ident.to_string());
    }
}

struct Arms<'a> {
    own: &'a BTreeSet<String>,
    /// The type whose `impl` is read.
    of: Option<String>,
    path: String,
    found: Vec<String>,
}

impl Arms<'_> {
    /// True when the pattern names a variant of an enum of ours.
    fn names_own(&self, pattern: &syn::Pat) -> bool {
        let path = match pattern {
            syn::Pat::Or(cases) => return cases.cases.iter().any(|case| self.names_own(case)),
            syn::Pat::Reference(to) => return self.names_own(&to.pat),
            syn::Pat::Ident(bound) => {
                return bound.subpat.as_ref().is_some_and(|(_, pattern)| self.names_own(pattern));
            }
            syn::Pat::Path(pattern) => &pattern.path,
            syn::Pat::Struct(pattern) => &pattern.path,
            syn::Pat::TupleStruct(pattern) => &pattern.path,
            _ => return false,
        };
        let of = path.segments.iter().rev().nth(1).map(|segment| segment.ident.to_string());
        let of = of.and_then(|name| if name == "Self" { self.of.clone() } else { Some(name) });
        // A constant of the type is written in capitals and is no variant.
        let is_variant =
            path.segments.last().is_some_and(|last| last.ident.to_string().contains(char::is_lowercase));
        is_variant && of.is_some_and(|name| self.own.contains(&name))
    }
}

/// True when the pattern takes anything.
fn takes_anything(pattern: &syn::Pat) -> bool {
    match pattern {
        syn::Pat::Wild(_) => true,
        syn::Pat::Ident(bound) => {
            bound.subpat.is_none() && bound.ident.to_string().starts_with(char::is_lowercase)
        }
        _ => false,
    }
}

impl<'tree> Visit<'tree> for Arms<'_> {
    fn visit_item_impl(&mut self, item: &'tree syn::ItemImpl) {
        let before = self.of.take();
        if let syn::Type::Path(of) = &*item.self_ty {
            self.of = of.path.segments.last().map(|segment| segment.ident.to_string());
        }
        visit::visit_item_impl(self, item);
        self.of = before;
    }

    fn visit_expr_match(&mut self, matched: &'tree syn::ExprMatch) {
        if matched.arms.iter().any(|arm| self.names_own(&arm.pat)) {
            let rest = matched.arms.iter().filter(|arm| takes_anything(&arm.pat));
            let places = rest.map(|arm| format!("{}:{}", self.path, arm.pat.span().start().line));
            self.found.extend(places);
        }
        visit::visit_expr_match(self, matched);
    }
}
