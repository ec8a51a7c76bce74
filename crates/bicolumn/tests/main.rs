//! Tests of the program and of its documentation, in one program.
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::print_stderr)]

mod bad_input;
mod contact_study;
mod damaged_results;
mod doc_comments;
mod docs_agree;
mod error_estimates;
mod examples;
mod guide_jobs;
mod guide_runs;
mod key_reference;
mod killed;
mod layers;
mod ready_jobs;
mod solve_bundle;
mod support;
mod test_files;
mod third_party;
mod tour;
