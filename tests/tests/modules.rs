//! The modules' dependencies, read from the sources: no circle among the modules of one level, in any crate, each
//! taken with its submodules; and the diagrams in DEVELOPERS.md show them as they are.
//!
//! `TURNTALLY_BLESS=1` draws the diagrams anew.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop where it stands")]

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use proc_macro2::{TokenStream, TokenTree};
use syn::visit::{self, Visit};
use syn::{Item, UseTree};

/// A module's path within its crate; the root has none.
type Module = Vec<String>;

/// A crate's modules, and which of them each uses.
#[derive(Debug, Default)]
struct Crate {
    modules: BTreeSet<Module>,
    uses: BTreeSet<(Module, Module)>,
}

/// The crates, by the folder with their root and the root's file.
const CRATES: [(&str, &str, &str); 5] = [
    ("core", "core/src", "lib.rs"),
    ("firmware", "firmware/src", "lib.rs"),
    ("pico", "firmware/src/bin/pico", "main.rs"),
    ("tester", "firmware/src/bin/tester", "main.rs"),
    ("sim", "sim/src", "lib.rs"),
];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Collects every path that an item names, from `use` to macros.
struct Paths {
    module: Module,
    found: Vec<Module>,
}

impl Paths {
    /// The path from the crate's root, if it leads into the crate.
    fn push(&mut self, segments: &[String]) {
        let mut at = self.module.clone();
        let mut rest = segments;
        match rest.first().map(String::as_str) {
            Some("crate") => {
                at.clear();
                rest = &rest[1..];
            }
            Some("self") => rest = &rest[1..],
            // A name within this module may be one of its submodules.
            _ => {}
        }
        while rest.first().is_some_and(|segment| segment == "super") {
            at.pop();
            rest = &rest[1..];
        }
        at.extend(rest.iter().cloned());
        self.found.push(at);
    }

    fn tree(&mut self, before: &mut Vec<String>, tree: &UseTree) {
        match tree {
            UseTree::Path(path) => {
                before.push(path.ident.to_string());
                self.tree(before, &path.tree);
                before.pop();
            }
            UseTree::Group(group) => group.items.iter().for_each(|tree| self.tree(before, tree)),
            UseTree::Name(name) => {
                before.push(name.ident.to_string());
                self.push(before);
                before.pop();
            }
            UseTree::Rename(name) => {
                before.push(name.ident.to_string());
                self.push(before);
                before.pop();
            }
            UseTree::Glob(_) => self.push(before),
        }
    }

    /// `crate::a::b` within a macro's tokens.
    fn tokens(&mut self, tokens: TokenStream) {
        let mut path: Vec<String> = Vec::new();
        let mut joined = true;
        for token in tokens {
            match token {
                TokenTree::Ident(name) if joined || path.is_empty() => {
                    path.push(name.to_string());
                    joined = false;
                    continue;
                }
                TokenTree::Punct(colon) if colon.as_char() == ':' && !path.is_empty() => {
                    joined = true;
                    continue;
                }
                TokenTree::Group(group) => self.tokens(group.stream()),
                TokenTree::Ident(_) | TokenTree::Punct(_) | TokenTree::Literal(_) => {}
            }
            if path.len() > 1 {
                self.push(&std::mem::take(&mut path));
            }
            path.clear();
            joined = true;
        }
        if path.len() > 1 {
            self.push(&path);
        }
    }
}

fn is_test(attributes: &[syn::Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        attribute.path().is_ident("cfg")
            && matches!(&attribute.meta, syn::Meta::List(list) if list.tokens.to_string() == "test")
    })
}

/// The file that a module's `path` attribute names.
fn elsewhere(attributes: &[syn::Attribute]) -> Option<String> {
    attributes.iter().find_map(|attribute| match &attribute.meta {
        syn::Meta::NameValue(syn::MetaNameValue {
            path,
            value: syn::Expr::Lit(syn::ExprLit { lit: syn::Lit::Str(file), .. }),
            ..
        }) if path.is_ident("path") => Some(file.value()),
        _ => None,
    })
}

impl<'a> Visit<'a> for Paths {
    fn visit_item(&mut self, item: &'a Item) {
        match item {
            Item::Mod(inner) if is_test(&inner.attrs) => {}
            Item::Use(item) => self.tree(&mut Vec::new(), &item.tree),
            item => visit::visit_item(self, item),
        }
    }

    fn visit_path(&mut self, path: &'a syn::Path) {
        let segments: Vec<String> = path.segments.iter().map(|segment| segment.ident.to_string()).collect();
        if segments.len() > 1 {
            self.push(&segments);
        }
        visit::visit_path(self, path);
    }

    fn visit_macro(&mut self, call: &'a syn::Macro) {
        self.tokens(call.tokens.clone());
        visit::visit_macro(self, call);
    }
}

impl Crate {
    fn read(folder: &Path, file: &str) -> Self {
        let mut read = Self::default();
        let mut sources = BTreeMap::new();
        Self::find(folder, &folder.join(file), &[], &mut sources);
        read.modules = sources.keys().cloned().collect();
        for (module, source) in &sources {
            let mut paths = Paths { module: module.clone(), found: Vec::new() };
            paths.visit_file(source);
            for mut found in paths.found {
                while !found.is_empty() && !read.modules.contains(&found) {
                    found.pop();
                }
                if !found.is_empty() && found != *module {
                    read.uses.insert((module.clone(), found));
                }
            }
        }
        read
    }

    fn find(folder: &Path, path: &Path, module: &[String], sources: &mut BTreeMap<Module, syn::File>) {
        let text = fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        let source = syn::parse_file(&text).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        for item in &source.items {
            if let Item::Mod(inner) = item
                && inner.content.is_none()
                && !is_test(&inner.attrs)
            {
                let name = inner.ident.to_string();
                let given = elsewhere(&inner.attrs).zip(path.parent()).map(|(file, here)| here.join(file));
                let usual = [format!("{name}.rs"), format!("{name}/mod.rs")].map(|file| folder.join(file));
                let file = given.into_iter().chain(usual).find(|file| file.exists());
                let inside = [module, std::slice::from_ref(&name)].concat();
                let file = file.unwrap_or_else(|| panic!("no file for {inside:?}"));
                Self::find(&folder.join(&name), &file, &inside, sources);
            }
        }
        sources.insert(module.to_vec(), source);
    }

    /// Which modules of one level use which, each taken with its submodules.
    fn level(&self, parent: &[String]) -> BTreeMap<&str, BTreeSet<&str>> {
        let depth = parent.len();
        let mut level: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
        for module in &self.modules {
            if module.len() == depth + 1 && module.starts_with(parent) {
                level.entry(&module[depth]).or_default();
            }
        }
        for (from, to) in &self.uses {
            let inside = |module: &Module| module.len() > depth && module.starts_with(parent);
            if inside(from) && inside(to) && from[depth] != to[depth] {
                level.entry(&from[depth]).or_default().insert(&to[depth]);
            }
        }
        level
    }

    /// Every level that has modules, by its parent.
    fn levels(&self) -> BTreeSet<Module> {
        self.modules
            .iter()
            .filter_map(|module| Some(module[..module.len().checked_sub(1)?].to_vec()))
            .collect()
    }
}

/// A circle, as the names on it; none where there is none.
fn circle<'a>(level: &BTreeMap<&'a str, BTreeSet<&'a str>>) -> Option<Vec<&'a str>> {
    let mut left: BTreeMap<&str, BTreeSet<&str>> = level.clone();
    loop {
        let done: Vec<&str> =
            left.iter().filter(|(_, uses)| uses.is_empty()).map(|(name, _)| *name).collect();
        if done.is_empty() {
            break;
        }
        left.retain(|name, _| !done.contains(name));
        left.values_mut().for_each(|uses| uses.retain(|name| !done.contains(name)));
    }
    let mut on = vec![*left.keys().next()?];
    loop {
        let next = *left[on[on.len() - 1]].iter().next()?;
        if let Some(at) = on.iter().position(|name| *name == next) {
            return Some(on.split_off(at));
        }
        on.push(next);
    }
}

/// The level as a diagram: an arrow to what a module uses, but where that is reached by way of another arrow.
fn diagram(level: &BTreeMap<&str, BTreeSet<&str>>) -> String {
    let mut reach: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    while reach.len() < level.len() {
        let before = reach.len();
        for (name, uses) in level {
            if !reach.contains_key(name) && uses.iter().all(|used| reach.contains_key(used)) {
                let below = uses.iter().flat_map(|used| reach[used].iter().copied().chain([*used])).collect();
                reach.insert(name, below);
            }
        }
        assert!(reach.len() > before, "a circle among {:?}", level.keys());
    }
    let mut text = "```mermaid\nflowchart TD\n".to_owned();
    for (name, uses) in level {
        let drawn = uses.iter().filter(|used| !uses.iter().any(|other| reach[other].contains(*used)));
        let drawn: Vec<&str> = drawn.copied().collect();
        match &drawn[..] {
            [] => _ = writeln!(text, "    {name}"),
            drawn => _ = writeln!(text, "    {name} --> {}", drawn.join(" & ")),
        }
    }
    text + "```\n"
}

#[test]
fn no_modules_go_in_circles() {
    let mut modules = 0;
    for (name, folder, file) in CRATES {
        let read = Crate::read(&root().join(folder), file);
        modules += read.modules.len();
        assert!(read.uses.len() >= read.modules.len() - 1, "{name}: what is used is not seen");
        for parent in read.levels() {
            let found = circle(&read.level(&parent));
            assert_eq!(
                found,
                None,
                "{name}::{}: these modules use each other in a circle",
                parent.join("::")
            );
        }
    }
    assert!(modules > 100, "only {modules} modules were found");
}

/// A test of the tests: a circle is found where there is one, through macros and submodules too.
#[test]
fn circles_are_found() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    };
    write("lib.rs", "mod a; mod b; mod c; #[cfg(test)] mod tests { use crate::c; }");
    write("a.rs", "mod inner; use crate::b::{Thing, other::{self}};");
    write("a/inner.rs", "fn f() { super::super::c::g(); }");
    write("b.rs", "pub struct Thing; fn f() { println!(\"{}\", crate::c::g()); }");
    write("c.rs", "pub fn g() {}");
    let read = Crate::read(folder.path(), "lib.rs");
    assert_eq!(read.level(&[])["a"], BTreeSet::from(["b", "c"]));
    assert_eq!(read.level(&[])["b"], BTreeSet::from(["c"]));
    assert_eq!(circle(&read.level(&[])), None);
    assert_eq!(diagram(&read.level(&[])), "```mermaid\nflowchart TD\n    a --> b\n    b --> c\n    c\n```\n");
    write("c.rs", "pub fn g() -> crate::a::X { todo!() }");
    let read = Crate::read(folder.path(), "lib.rs");
    assert_eq!(circle(&read.level(&[])), Some(vec!["a", "b", "c"]));
}

#[test]
fn diagrams_are_those_of_today() {
    let path = root().join("DEVELOPERS.md");
    let before = fs::read_to_string(&path).unwrap();
    let mut text = before.clone();
    for (name, folder, file) in CRATES {
        let drawn = diagram(&Crate::read(&root().join(folder), file).level(&[]));
        let (open, close) = (format!("<!-- modules of {name} -->\n"), format!("<!-- end of {name} -->\n"));
        let (head, rest) = text.split_once(&open).unwrap_or_else(|| panic!("no {open}"));
        let (_, tail) = rest.split_once(&close).unwrap_or_else(|| panic!("no {close}"));
        text = format!("{head}{open}{drawn}{close}{tail}");
    }
    if std::env::var_os("TURNTALLY_BLESS").is_some() {
        fs::write(path, text).unwrap();
    } else {
        assert!(before == text, "DEVELOPERS.md shows other modules: TURNTALLY_BLESS=1 draws them anew");
    }
}
