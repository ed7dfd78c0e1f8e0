//! Type names, function lengths, and `pub` items that nobody outside names.

use std::collections::{BTreeMap, BTreeSet};

use proc_macro2::{TokenStream, TokenTree};
use quote::ToTokens;
use syn::spanned::Spanned;
use syn::visit::{self, Visit};

use crate::source::Source;

/// Names that mean the same wherever they stand: a verb's arguments, and what each board's image has of its own.
const SHARED: [&str; 4] = ["Args", "BoardInputs", "Pages", "StoreMemory"];

/// Types declared in more than one file, with the files.
pub(crate) fn declared_twice(sources: &[Source]) -> BTreeMap<String, Vec<&str>> {
    let mut places: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    for source in sources {
        let mut types = Types(Vec::new());
        types.visit_file(&source.tree);
        for name in types.0 {
            places.entry(name).or_default().push(&source.path);
        }
    }
    places.retain(|name, at| at.len() > 1 && !SHARED.contains(&name.as_str()));
    places
}

struct Types(Vec<String>);

impl<'tree> Visit<'tree> for Types {
    fn visit_item_struct(&mut self, item: &'tree syn::ItemStruct) {
        self.0.push(item.ident.to_string());
    }
    fn visit_item_enum(&mut self, item: &'tree syn::ItemEnum) {
        self.0.push(item.ident.to_string());
    }
    fn visit_item_trait(&mut self, item: &'tree syn::ItemTrait) {
        self.0.push(item.ident.to_string());
    }
    fn visit_item_type(&mut self, item: &'tree syn::ItemType) {
        self.0.push(item.ident.to_string());
    }
}

/// Lines of every function from signature to closing brace, with its place.
pub(crate) fn function_lines(sources: &[Source]) -> Vec<(usize, String)> {
    let mut lines = Functions { path: String::new(), found: Vec::new() };
    for source in sources {
        lines.path.clone_from(&source.path);
        lines.visit_file(&source.tree);
    }
    lines.found.sort();
    lines.found
}

struct Functions {
    path: String,
    found: Vec<(usize, String)>,
}

impl Functions {
    fn note(&mut self, name: &syn::Ident, from: proc_macro2::Span, to: proc_macro2::Span) {
        let lines = to.end().line.saturating_sub(from.start().line) + 1;
        self.found.push((lines, format!("{}:{} {name}", self.path, from.start().line)));
    }
}

impl<'tree> Visit<'tree> for Functions {
    fn visit_item_fn(&mut self, item: &'tree syn::ItemFn) {
        self.note(&item.sig.ident, item.sig.span(), item.block.span());
        visit::visit_item_fn(self, item);
    }
    fn visit_impl_item_fn(&mut self, item: &'tree syn::ImplItemFn) {
        self.note(&item.sig.ident, item.sig.span(), item.block.span());
        visit::visit_impl_item_fn(self, item);
    }
    fn visit_trait_item_fn(&mut self, item: &'tree syn::TraitItemFn) {
        if let Some(block) = &item.default {
            self.note(&item.sig.ident, item.sig.span(), block.span());
        }
        visit::visit_trait_item_fn(self, item);
    }
}

/// `pub` items of these crates whose name stands in no other crate and no test or bench outside. A type that stands in
/// the signature or the fields of another public item is named by whoever uses that item.
pub(crate) fn unnamed_outside(
    sources: &[Source],
    crates: &[&str],
    outside: &[(String, String)],
) -> Vec<String> {
    let words: Vec<(&str, BTreeSet<String>)> =
        sources.iter().map(|source| (source.krate, words_of(source.tree.to_token_stream()))).collect();
    let beyond: BTreeSet<String> =
        outside.iter().filter_map(|(_, text)| text.parse::<TokenStream>().ok()).flat_map(words_of).collect();
    let interfaces: Vec<(&str, String, BTreeSet<String>)> = sources
        .iter()
        .flat_map(|source| {
            let mut public = Interfaces(Vec::new());
            public.visit_file(&source.tree);
            public.0.into_iter().map(|(item, words)| (source.krate, item, words))
        })
        .collect();
    let mut unnamed = Vec::new();
    for source in sources.iter().filter(|source| crates.contains(&source.krate)) {
        let mut public = Public(Vec::new());
        public.visit_file(&source.tree);
        for name in public.0 {
            let named = beyond.contains(&name)
                || interfaces.iter().any(|(krate, item, words)| {
                    *krate == source.krate && *item != name && words.contains(&name)
                })
                || words.iter().any(|(krate, words)| *krate != source.krate && words.contains(&name));
            if !named {
                unnamed.push(format!("{} {name}", source.path));
            }
        }
    }
    unnamed
}

fn words_of(tokens: TokenStream) -> BTreeSet<String> {
    let mut words = BTreeSet::new();
    for token in tokens {
        match token {
            TokenTree::Ident(ident) => {
                words.insert(ident.to_string());
            }
            TokenTree::Group(group) => words.extend(words_of(group.stream())),
            TokenTree::Punct(_) | TokenTree::Literal(_) => {}
        }
    }
    words
}

struct Public(Vec<String>);

impl Public {
    fn note(&mut self, visibility: &syn::Visibility, name: &syn::Ident) {
        if matches!(visibility, syn::Visibility::Public(_)) {
            self.0.push(name.to_string());
        }
    }
}

impl<'tree> Visit<'tree> for Public {
    fn visit_item_struct(&mut self, item: &'tree syn::ItemStruct) {
        self.note(&item.vis, &item.ident);
    }
    fn visit_item_enum(&mut self, item: &'tree syn::ItemEnum) {
        self.note(&item.vis, &item.ident);
    }
    fn visit_item_trait(&mut self, item: &'tree syn::ItemTrait) {
        self.note(&item.vis, &item.ident);
    }
    fn visit_item_fn(&mut self, item: &'tree syn::ItemFn) {
        self.note(&item.vis, &item.sig.ident);
    }
    fn visit_item_const(&mut self, item: &'tree syn::ItemConst) {
        self.note(&item.vis, &item.ident);
    }
}

/// What each public item shows of others: signatures, fields, variants.
struct Interfaces(Vec<(String, BTreeSet<String>)>);

impl Interfaces {
    fn note(&mut self, visibility: &syn::Visibility, name: &syn::Ident, shown: TokenStream) {
        if matches!(visibility, syn::Visibility::Public(_)) {
            self.0.push((name.to_string(), words_of(shown)));
        }
    }
}

impl<'tree> Visit<'tree> for Interfaces {
    fn visit_item_struct(&mut self, item: &'tree syn::ItemStruct) {
        let fields = item.fields.iter().filter(|field| matches!(field.vis, syn::Visibility::Public(_)));
        self.note(&item.vis, &item.ident, fields.map(|field| field.ty.to_token_stream()).collect());
    }
    fn visit_item_enum(&mut self, item: &'tree syn::ItemEnum) {
        self.note(&item.vis, &item.ident, item.variants.to_token_stream());
    }
    fn visit_item_trait(&mut self, item: &'tree syn::ItemTrait) {
        self.note(&item.vis, &item.ident, item.to_token_stream());
    }
    fn visit_item_type(&mut self, item: &'tree syn::ItemType) {
        self.note(&item.vis, &item.ident, item.ty.to_token_stream());
    }
    fn visit_item_fn(&mut self, item: &'tree syn::ItemFn) {
        self.note(&item.vis, &item.sig.ident, item.sig.to_token_stream());
    }
    fn visit_impl_item_fn(&mut self, item: &'tree syn::ImplItemFn) {
        self.note(&item.vis, &item.sig.ident, item.sig.to_token_stream());
    }
    fn visit_impl_item_type(&mut self, item: &'tree syn::ImplItemType) {
        self.0.push((item.ident.to_string(), words_of(item.ty.to_token_stream())));
    }
    fn visit_item_const(&mut self, item: &'tree syn::ItemConst) {
        self.note(&item.vis, &item.ident, item.ty.to_token_stream());
    }
}
