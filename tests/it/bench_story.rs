//! The bench commands: plan and sheets come out, nothing is overwritten, a slip is told.

use super::support::{complaint, result, run};
use std::fs;
use std::path::Path;

#[test]
fn a_bench_is_planned_printed_and_never_overwritten() {
    let folder = tempfile::tempdir().expect("folder");
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/bench/five_coats.toml");
    let text = fs::read_to_string(example).expect("example");
    fs::write(folder.path().join("five.toml"), &text).expect("written");
    let planned = run(
        folder.path(),
        &["bench", "plan", "five.toml", "-o", "bench"],
    );
    assert!(planned.status.success(), "{}", complaint(&planned));
    // 5 systems x 2 figures, declared order: 1 over 10!/(2!)^5 arrangements (counting).
    let said = result(&planned);
    assert!(said.contains("8.818e-6"), "{said}");
    assert!(complaint(&planned).contains("Never eat while handling"));
    let printed = run(folder.path(), &["bench", "sheet", "bench"]);
    assert!(printed.status.success(), "{}", complaint(&printed));
    assert!(
        folder
            .path()
            .join("bench/sheets/operator-block-1.html")
            .is_file()
    );

    fs::write(
        folder.path().join("five.toml"),
        text.replace("seed = 5", "seed = 6"),
    )
    .expect("written");
    let key = fs::read(folder.path().join("bench/key.csv")).expect("key");
    let again = run(
        folder.path(),
        &["bench", "plan", "five.toml", "-o", "bench"],
    );
    assert!(
        !again.status.success(),
        "another plan must not replace this one"
    );
    assert_eq!(
        fs::read(folder.path().join("bench/key.csv")).expect("key"),
        key
    );

    fs::write(
        folder.path().join("five.toml"),
        text.replace("alpha", "alfa"),
    )
    .expect("written");
    let wrong = run(
        folder.path(),
        &["bench", "plan", "five.toml", "-o", "other"],
    );
    assert_eq!(wrong.status.code(), Some(2));
    assert!(complaint(&wrong).contains("alfa"), "{}", complaint(&wrong));
    assert!(!folder.path().join("other").exists());
}
