//! Files that import each other in a circle. Parent and child are one room: a folder's `mod.rs` names its files.

use std::collections::{BTreeMap, BTreeSet};

use syn::visit::{self, Visit};

use crate::source::Source;

type Module = Vec<String>;

/// Circles of one crate's files, each as a sorted list of modules.
pub(crate) fn circles(sources: &[&Source]) -> Vec<Vec<String>> {
    let modules: BTreeSet<Module> = sources.iter().map(|source| source.module.clone()).collect();
    let mut arrows: BTreeMap<Module, BTreeSet<Module>> = BTreeMap::new();
    for source in sources {
        let mut imports = Imports { at: source.module.clone(), found: Vec::new() };
        imports.visit_file(&source.tree);
        let targets = imports.found.iter().filter_map(|path| nearest(&modules, path));
        let others = targets.filter(|target| !is_family(target, &source.module));
        arrows.insert(source.module.clone(), others.collect());
    }
    let mut found = BTreeSet::new();
    for start in &modules {
        let circle: Vec<String> = modules
            .iter()
            .filter(|other| reaches(&arrows, start, other) && reaches(&arrows, other, start))
            .map(|module| module.join("/"))
            .collect();
        if circle.len() > 1 {
            found.insert(circle);
        }
    }
    found.into_iter().collect()
}

/// Modules at a crate's top that a file uses, what it hands on to others included.
pub(crate) fn top_modules(source: &Source) -> BTreeSet<String> {
    let mut imports = Imports { at: source.module.clone(), found: Vec::new() };
    imports.visit_file(&source.tree);
    for item in &source.tree.items {
        if let syn::Item::Use(item) = item {
            imports.note_tree(&[], &item.tree);
        }
    }
    imports.found.into_iter().filter_map(|path| path.into_iter().next()).collect()
}

fn is_family(one: &Module, other: &Module) -> bool {
    one.starts_with(other) || other.starts_with(one)
}

/// The deepest module that a path leads into.
fn nearest(modules: &BTreeSet<Module>, path: &Module) -> Option<Module> {
    (1..=path.len())
        .rev()
        .map(|end| path.iter().take(end).cloned().collect())
        .find(|part| modules.contains(part))
}

fn reaches(arrows: &BTreeMap<Module, BTreeSet<Module>>, from: &Module, to: &Module) -> bool {
    let (mut seen, mut waiting) = (BTreeSet::new(), vec![from]);
    while let Some(module) = waiting.pop() {
        for next in arrows.get(module).into_iter().flatten() {
            if next == to {
                return true;
            }
            if seen.insert(next) {
                waiting.push(next);
            }
        }
    }
    false
}

/// Paths that start at `crate`, `super` or `self`, made absolute.
struct Imports {
    at: Module,
    found: Vec<Module>,
}

impl Imports {
    fn note(&mut self, parts: &[String]) {
        let mut base = self.at.clone();
        let mut rest = parts;
        match parts.first().map(String::as_str) {
            Some("crate") => {
                base.clear();
                rest = &parts[1..];
            }
            Some("super" | "self") => {}
            _ => return,
        }
        while let Some(first) = rest.first().filter(|first| ["super", "self"].contains(&first.as_str())) {
            if first == "super" {
                base.pop();
            }
            rest = &rest[1..];
        }
        self.found.push(base.into_iter().chain(rest.iter().cloned()).collect());
    }

    fn note_tree(&mut self, before: &[String], tree: &syn::UseTree) {
        let with = |ident: &syn::Ident| before.iter().cloned().chain([ident.to_string()]).collect::<Vec<_>>();
        match tree {
            syn::UseTree::Path(path) => self.note_tree(&with(&path.ident), &path.tree),
            syn::UseTree::Name(name) => self.note(&with(&name.ident)),
            syn::UseTree::Rename(rename) => self.note(&with(&rename.ident)),
            syn::UseTree::Glob(_) => self.note(before),
            syn::UseTree::Group(group) => group.items.iter().for_each(|item| self.note_tree(before, item)),
        }
    }
}

impl<'tree> Visit<'tree> for Imports {
    fn visit_item_use(&mut self, item: &'tree syn::ItemUse) {
        // What a folder's root hands on to others is its face, not an import.
        if !matches!(item.vis, syn::Visibility::Public(_)) {
            self.note_tree(&[], &item.tree);
        }
    }

    fn visit_path(&mut self, path: &'tree syn::Path) {
        let parts: Vec<String> = path.segments.iter().map(|segment| segment.ident.to_string()).collect();
        self.note(&parts);
        visit::visit_path(self, path);
    }
}
