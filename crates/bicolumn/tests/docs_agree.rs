//! Pages that name files, constants and measuring programs agree with the repository.

#![allow(clippy::unwrap_used)]

use std::path::{Path, PathBuf};

fn root() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../.."))
}

/// Pages of Markdown that are kept current, or all of them with the frozen laboratory pages.
fn pages(with_lab: bool) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = [
        "README.md",
        "DEVELOPERS.md",
        "crates/README.md",
        "tests/README.md",
    ]
    .iter()
    .map(|p| root().join(p))
    .collect();
    let mut folders = vec![root().join("docs")];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                if with_lab || !path.ends_with("lab") {
                    folders.push(path);
                }
            } else if path.extension().is_some_and(|e| e == "md") {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

/// Files of Rust in a folder and those below it.
fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut found = vec![];
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
    found
}

/// Texts between an opening and a closing mark.
fn between<'a>(text: &'a str, open: &str, close: &str) -> Vec<&'a str> {
    text.split(open)
        .skip(1)
        .filter_map(|rest| rest.split_once(close).map(|(inside, _)| inside))
        .collect()
}

/// Text in backticks of one line each, blocks of code left out.
fn quoted(page: &str) -> Vec<String> {
    let prose = page.split("```").step_by(2);
    let lines = prose.flat_map(str::lines);
    lines
        .flat_map(|l| l.split('`').skip(1).step_by(2))
        .map(str::to_owned)
        .collect()
}

#[test]
fn every_link_leads_to_a_file() {
    let mut broken = vec![];
    for page in pages(true) {
        let text = std::fs::read_to_string(&page).unwrap();
        let mut links = between(&text, "](", ")");
        links.extend(between(&text, "src=\"", "\""));
        for link in links {
            let file = link.split('#').next().unwrap();
            let is_path = !file.is_empty() && !file.contains("://");
            if is_path && !page.parent().unwrap().join(file).exists() {
                broken.push(format!("{}: {link}", page.display()));
            }
        }
    }
    assert!(broken.is_empty(), "{broken:#?}");
}

#[test]
fn every_path_of_the_repository_that_a_page_names_exists() {
    let mut missing = vec![];
    for page in pages(false) {
        let text = std::fs::read_to_string(&page).unwrap();
        for name in quoted(&text) {
            let starts = ["crates/", "docs/", "tests/", "jobs/", "meshes/"];
            let is_path = starts.iter().any(|s| name.starts_with(s))
                && !name.contains([' ', '*', '<', '{', '…'])
                && !name.contains("NAME");
            if is_path && !root().join(&name).exists() {
                missing.push(format!("{}: {name}", page.display()));
            }
        }
    }
    assert!(missing.is_empty(), "{missing:#?}");
}

#[test]
fn every_measuring_program_that_a_page_names_exists() {
    let mut missing = vec![];
    for page in pages(false) {
        let text = std::fs::read_to_string(&page).unwrap();
        for rest in text.split("-p bicolumn-bench --example ").skip(1) {
            let name: String = rest
                .chars()
                .take_while(|c| c.is_ascii_alphanumeric() || *c == '_')
                .collect();
            let examples = root().join("crates/bench/examples");
            let is_there = examples.join(format!("{name}.rs")).exists()
                || examples.join(&name).join("main.rs").exists();
            if !is_there {
                missing.push(format!("{}: {name}", page.display()));
            }
        }
    }
    assert!(missing.is_empty(), "{missing:#?}");
}

#[test]
fn constants_with_evidence_have_these_values_in_the_code() {
    let page = std::fs::read_to_string(root().join("docs/performance.md")).unwrap();
    let table = page.split("\n## Constants").nth(1).unwrap();
    let table = table.split("\n## ").next().unwrap();
    let mut seen = 0;
    for row in table.lines().filter(|l| l.starts_with('|')) {
        let mut quotes = quoted(row).into_iter();
        let Some((name, value)) = quotes.next().and_then(|q| {
            q.split_once(" = ")
                .map(|(n, v)| (n.to_owned(), v.to_owned()))
        }) else {
            continue;
        };
        let folder = quotes.next().unwrap();
        let wanted = format!("const {name}: ");
        let mut lines = vec![];
        for file in sources(&root().join(&folder).join("src")) {
            let code = std::fs::read_to_string(file).unwrap();
            lines.extend(
                code.lines()
                    .filter(|l| l.contains(&wanted))
                    .map(str::to_owned),
            );
        }
        let ending = format!(" = {value};");
        assert!(
            lines.iter().any(|l| l.ends_with(&ending)),
            "the page says {name} = {value}, {folder}: {lines:?}"
        );
        seen += 1;
    }
    assert!(seen >= 10, "only {seen} constants were found on the page");
}

#[test]
fn every_published_case_is_listed() {
    let page = std::fs::read_to_string(root().join("tests/README.md")).unwrap();
    let mut missing = vec![];
    for entry in std::fs::read_dir(root().join("tests/published")).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        // The program that holds the cases is none.
        if name != "main" && !page.contains(&format!("| `{name}` |")) {
            missing.push(name);
        }
    }
    assert!(missing.is_empty(), "not in tests/README.md: {missing:?}");
}

/// Code of a file without the tests at its end.
fn product_code(file: &str) -> String {
    let code = std::fs::read_to_string(root().join(file)).unwrap();
    code.split("\n#[cfg(test)]").next().unwrap().to_owned()
}

#[test]
fn every_field_of_a_record_is_on_its_page() {
    let page = std::fs::read_to_string(root().join("docs/reference/record.md")).unwrap();
    let told = quoted(&page);
    let files = ["record", "evidence", "contact_record"];
    let code: Vec<String> = files
        .iter()
        .map(|f| product_code(&format!("crates/store/src/{f}.rs")))
        .collect();
    let fields = code
        .iter()
        .flat_map(|c| c.lines())
        .filter_map(|l| l.strip_prefix("    pub "))
        .filter_map(|l| l.split_once(": "))
        .map(|(name, _)| name)
        .filter(|name| !name.contains(' '));
    let missing: Vec<&str> = fields.filter(|f| !told.iter().any(|t| t == f)).collect();
    assert!(
        missing.is_empty(),
        "not in docs/reference/record.md: {missing:?}"
    );
}

#[test]
fn every_key_of_an_audit_bundle_is_on_its_page() {
    let page = std::fs::read_to_string(root().join("docs/reference/bundle.md")).unwrap();
    let told = quoted(&page);
    let files = [
        "study/src/bundle.rs",
        "study/src/bundle_responses.rs",
        "bundle/src/construct.rs",
        "bundle/src/interfaces.rs",
        "bundle/src/model_file.rs",
        "bundle/src/preparation.rs",
        "bundle/src/write.rs",
    ];
    let code: String = files
        .iter()
        .map(|f| product_code(&format!("crates/{f}")))
        .collect();
    let is_key = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
    let keys = code.lines().filter(|l| !l.trim_start().starts_with("//"));
    let keys = keys.flat_map(|l| l.split('"').skip(1).step_by(2));
    let missing: Vec<&str> = keys
        .filter(|k| !k.is_empty() && k.chars().all(is_key))
        .filter(|k| !told.iter().any(|t| t == k))
        .collect();
    assert!(
        missing.is_empty(),
        "not in docs/reference/bundle.md: {missing:?}"
    );
}

/// Lines of the code blocks of a page.
fn code_lines(page: &str) -> impl Iterator<Item = &str> {
    page.split("```")
        .skip(1)
        .step_by(2)
        .flat_map(str::lines)
        .map(str::trim)
}

#[test]
fn every_command_that_a_page_shows_is_one_of_the_program() {
    let mut shown = 0;
    for page in pages(false) {
        let text = std::fs::read_to_string(&page).unwrap();
        for line in code_lines(&text) {
            let by_cargo = line.strip_prefix("cargo run --release --locked -- ");
            let Some(args) = by_cargo.or_else(|| line.strip_prefix("bicolumn ")) else {
                continue;
            };
            // A figure of the crates.
            if args.starts_with(' ') {
                continue;
            }
            // Help is printed once all that stands before it has been understood.
            let args = ["bicolumn"]
                .into_iter()
                // A shell writes to the file behind the mark.
                .chain(args.split_whitespace().take_while(|w| *w != ">"))
                .chain(["--help"]);
            let (mut out, mut err) = (vec![], vec![]);
            let status = bicolumn::main_with(args, &mut out, &mut err, false);
            let told = String::from_utf8_lossy(&err);
            assert_eq!(
                status,
                bicolumn::ALL_WELL,
                "{}: {line}\n{told}",
                page.display()
            );
            for word in line.split_whitespace().filter(|w| w.starts_with("jobs/")) {
                assert!(root().join(word).exists(), "{}: {word}", page.display());
            }
            shown += 1;
        }
    }
    assert!(shown >= 6, "only {shown} commands were found");
}

#[test]
fn the_columns_that_the_guide_reads_in_python_and_r_exist() {
    let read = |page: &str| std::fs::read_to_string(root().join(page)).unwrap();
    let known: Vec<String> = ["docs/reference/columns.md", "docs/reference/job-keys.md"]
        .iter()
        .flat_map(|page| quoted(&read(page)))
        .collect();
    let guide = read("docs/guides/read-results-in-python-and-R.md");
    let code: String = code_lines(&guide).collect::<Vec<_>>().join("\n");
    let is_name = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '.';
    let in_r = code
        .split("d$")
        .skip(1)
        .map(|rest| rest.split(|c| !is_name(c)).next().unwrap_or_default());
    let formula = between(&code, "lm(", ", data").join(" ");
    let in_formula = formula
        .split(|c| !is_name(c))
        .filter(|w| w.contains('_') || w.contains('.'));
    let used: Vec<&str> = between(&code, "r[\"", "\"]")
        .into_iter()
        .chain(in_r)
        .chain(in_formula)
        .collect();
    assert!(used.len() >= 9, "{used:?}");
    for name in used {
        assert!(known.iter().any(|k| k == name), "no column {name}");
    }
}
