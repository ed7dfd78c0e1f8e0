//! The core's public face as text: every `pub` item with its signature, in the order of its file.

use std::collections::BTreeSet;

use quote::ToTokens;
use syn::spanned::Spanned;

use crate::source::Source;

/// Modules by name; under each what it shows.
pub(crate) fn listed(sources: &[&Source]) -> String {
    let types: BTreeSet<String> =
        sources.iter().flat_map(|source| public_types(&source.tree.items)).collect();
    let mut modules: Vec<(String, Vec<String>)> = sources
        .iter()
        .map(|source| {
            let mut face = Face { types: &types, lines: Vec::new() };
            source.tree.items.iter().for_each(|item| face.item(item));
            (
                ["crate"]
                    .into_iter()
                    .chain(source.module.iter().map(String::as_str))
                    .collect::<Vec<_>>()
                    .join("::"),
                face.lines,
            )
        })
        .filter(|(_, lines)| !lines.is_empty())
        .collect();
    modules.sort();
    let rooms = modules.into_iter().map(|(name, lines)| format!("{name}\n{}\n", lines.join("\n")));
    rooms.collect::<Vec<_>>().join("\n")
}

fn public_types(items: &[syn::Item]) -> Vec<String> {
    let public = items.iter().filter_map(|item| match item {
        syn::Item::Struct(item) if is_public(&item.vis) => Some(&item.ident),
        syn::Item::Enum(item) if is_public(&item.vis) => Some(&item.ident),
        _ => None,
    });
    public.map(ToString::to_string).collect()
}

fn is_public(visibility: &syn::Visibility) -> bool {
    matches!(visibility, syn::Visibility::Public(_))
}

/// A piece of source on one line; a list that the formatter broke over lines reads as one that it did not.
fn text(of: &impl ToTokens) -> String {
    let source = of.span().source_text().unwrap();
    let words = source.split_whitespace().collect::<Vec<_>>().join(" ");
    words.replace("( ", "(").replace(", )", ")").replace("{ ", "{").replace(", }", "}").replace(" }", "}")
}

fn generics(of: &syn::Generics) -> String {
    if of.params.is_empty() { String::new() } else { text(of) }
}

/// What is derived, since who uses a type may count on it.
fn derives(attributes: &[syn::Attribute]) -> String {
    let lists = attributes.iter().filter(|attribute| attribute.path().is_ident("derive"));
    let names = lists.map(|list| list.meta.require_list().unwrap().tokens.to_string().replace(" ,", ","));
    let names = names.collect::<Vec<_>>().join(", ");
    if names.is_empty() { names } else { format!(": {names}") }
}

struct Face<'a> {
    types: &'a BTreeSet<String>,
    lines: Vec<String>,
}

impl Face<'_> {
    fn line(&mut self, indent: usize, line: &str) {
        self.lines.push(format!("{:width$}{line}", "", width = 4 * indent));
    }

    fn fields(&mut self, fields: &syn::Fields, is_shown: impl Fn(&syn::Field) -> bool) {
        for (index, field) in fields.iter().enumerate().filter(|(_, field)| is_shown(field)) {
            let name = field.ident.as_ref().map_or_else(|| index.to_string(), ToString::to_string);
            self.line(2, &format!("{name}: {}", text(&field.ty)));
        }
    }

    fn item(&mut self, item: &syn::Item) {
        match item {
            syn::Item::Mod(item) if is_public(&item.vis) => self.line(1, &format!("mod {}", item.ident)),
            syn::Item::Use(item) if is_public(&item.vis) => {
                self.line(1, &format!("use {}", text(&item.tree)))
            }
            syn::Item::Const(item) if is_public(&item.vis) => {
                self.line(1, &format!("const {}: {}", item.ident, text(&item.ty)));
            }
            syn::Item::Fn(item) if is_public(&item.vis) => self.line(1, &text(&item.sig)),
            syn::Item::Type(item) if is_public(&item.vis) => {
                self.line(
                    1,
                    &format!("type {}{} = {}", item.ident, generics(&item.generics), text(&item.ty)),
                );
            }
            syn::Item::Struct(item) if is_public(&item.vis) => {
                let head =
                    format!("struct {}{}{}", item.ident, generics(&item.generics), derives(&item.attrs));
                self.line(1, &head);
                self.fields(&item.fields, |field| is_public(&field.vis));
            }
            syn::Item::Enum(item) if is_public(&item.vis) => {
                let head = format!("enum {}{}{}", item.ident, generics(&item.generics), derives(&item.attrs));
                self.line(1, &head);
                item.variants.iter().for_each(|variant| self.variant(variant));
            }
            syn::Item::Trait(item) if is_public(&item.vis) => self.contract(item),
            syn::Item::Impl(item) => self.implemented(item),
            syn::Item::Macro(item) => self.generated(item),
            _ => {}
        }
    }

    fn variant(&mut self, variant: &syn::Variant) {
        let fields = variant.fields.iter().map(|field| {
            let name = field.ident.as_ref().map_or_else(String::new, |name| format!("{name}: "));
            format!("{name}{}", text(&field.ty))
        });
        let fields = fields.collect::<Vec<_>>().join(", ");
        let fields = if fields.is_empty() { fields } else { format!(" {{{fields}}}") };
        self.line(2, &format!("{}{fields}", variant.ident));
    }

    fn contract(&mut self, item: &syn::ItemTrait) {
        self.line(1, &format!("trait {}{}", item.ident, generics(&item.generics)));
        for part in &item.items {
            match part {
                syn::TraitItem::Fn(part) => {
                    let own = if part.default.is_some() { " (has a default)" } else { "" };
                    self.line(2, &format!("{}{own}", text(&part.sig)));
                }
                syn::TraitItem::Const(part) => {
                    self.line(2, &format!("const {}: {}", part.ident, text(&part.ty)));
                }
                syn::TraitItem::Type(part) => self.line(2, &format!("type {}", part.ident)),
                _ => {}
            }
        }
    }

    fn implemented(&mut self, item: &syn::ItemImpl) {
        let of = text(&item.self_ty);
        let name = of.split('<').next().unwrap_or_default();
        if let Some((of_trait, _)) = &item.trait_ {
            if self.types.contains(name) {
                self.line(1, &format!("impl{} {} for {of}", generics(&item.generics), text(of_trait)));
            }
            return;
        }
        let before = self.lines.len();
        for part in &item.items {
            match part {
                syn::ImplItem::Fn(part) if is_public(&part.vis) => self.line(2, &text(&part.sig)),
                syn::ImplItem::Const(part) if is_public(&part.vis) => {
                    self.line(2, &format!("const {}: {}", part.ident, text(&part.ty)));
                }
                _ => {}
            }
        }
        if self.lines.len() > before {
            let head = format!("    impl{} {of}", generics(&item.generics));
            self.lines.insert(before, head);
        }
    }

    /// A macro's own `pub` and `impl` lines where it is made, its arguments where it is used.
    fn generated(&mut self, item: &syn::ItemMacro) {
        let source = item.mac.tokens.span().source_text().unwrap_or_default();
        let code = source.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with("//"));
        if let Some(name) = &item.ident {
            self.line(1, &format!("macro {name}"));
            for line in code.filter(|line| line.starts_with("pub ") || line.starts_with("impl")) {
                self.line(2, line.trim_end_matches(" {"));
            }
        } else {
            self.line(1, &format!("{}!", text(&item.mac.path)));
            code.for_each(|line| self.line(2, line));
        }
    }
}
