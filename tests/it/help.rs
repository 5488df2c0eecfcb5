//! Help at every level, with an example that names the command.

use super::support::{result, run};

#[test]
fn every_command_helps_with_an_example() {
    let folder = tempfile::tempdir().expect("folder");
    let top = result(&run(folder.path(), &["--help"]));
    let commands: Vec<String> = top
        .lines()
        .skip_while(|l| *l != "Commands:")
        .skip(1)
        .take_while(|l| !l.is_empty())
        .filter_map(|l| l.split_whitespace().next().map(str::to_string))
        .filter(|c| c != "help")
        .collect();
    assert!(commands.len() >= 10, "{commands:?}");
    for command in &commands {
        let help = result(&run(folder.path(), &[command, "--help"]));
        assert!(help.contains("Example:"), "{command}: {help}");
        assert!(
            help.contains(&format!("thumbworn {command}")),
            "{command}: {help}"
        );
    }
}

#[test]
fn schema_completions_and_manual_come_out_whole() {
    let folder = tempfile::tempdir().expect("folder");
    let schema = result(&run(folder.path(), &["schema"]));
    let schema: serde_json::Value = serde_json::from_str(&schema).expect("JSON");
    assert!(schema["properties"]["exposure"].is_object());
    assert!(result(&run(folder.path(), &["completions", "bash"])).contains("thumbworn"));
    assert!(result(&run(folder.path(), &["man"])).contains(".TH"));
}
