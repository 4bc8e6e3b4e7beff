//! What the README shows as output is what the program really prints.

use assert_cmd::Command;

#[test]
fn outputs_are_real() {
    let root = env!("CARGO_MANIFEST_DIR");
    let readme = std::fs::read_to_string(format!("{root}/README.md")).unwrap();
    let mut checked = 0;
    for block in readme.split("```console\n").skip(1) {
        let block = block.split("```").next().unwrap();
        let (call, printed) = block.split_once('\n').unwrap();
        let Some(arguments) = call.strip_prefix("$ gritwise ") else { continue };
        let output =
            Command::cargo_bin("gritwise").unwrap().current_dir(root).args(arguments.split(' ')).output().unwrap();
        assert_eq!(String::from_utf8(output.stdout).unwrap(), printed, "README: {call}");
        checked += 1;
    }
    assert_eq!(checked, 12);
}
