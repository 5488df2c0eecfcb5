//! How an error is shown: place, line with a caret, hints; exit codes 0, 1, 2.

use base::{Error, Kind};
use miette::{
    GraphicalReportHandler, GraphicalTheme, LabeledSpan, MietteDiagnostic, NamedSource, Report,
};
use std::io::IsTerminal;

/// Exit code of a failed command: 1 refused or stopped, 2 wrong input or a machine that said no.
#[must_use]
pub fn exit_code(error: &Error) -> u8 {
    match error.kind() {
        Kind::Refused | Kind::Interrupted => 1,
        Kind::Input | Kind::System => 2,
    }
}

/// The error as text for stderr.
#[must_use]
pub fn shown(error: &Error) -> String {
    let Some((place, text, span)) = error
        .place()
        .and_then(|p| Some((p, p.text.as_ref()?, p.span.clone()?)))
    else {
        return format!("error: {error}");
    };
    let mut diagnostic = MietteDiagnostic::new(match &place.key {
        Some(key) => format!("{key}: {}", error.what()),
        None => error.what().to_string(),
    })
    .with_label(LabeledSpan::at(span, "here"));
    if !error.hints().is_empty() {
        diagnostic = diagnostic.with_help(error.hints().join("\n"));
    }
    let report =
        Report::new(diagnostic).with_source_code(NamedSource::new(&place.file, text.clone()));
    let colour = std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none();
    let theme = if colour {
        GraphicalTheme::unicode()
    } else {
        GraphicalTheme::unicode_nocolor()
    };
    let mut out = String::new();
    match GraphicalReportHandler::new_themed(theme)
        .with_links(false)
        .render_report(&mut out, report.as_ref())
    {
        Ok(()) => format!("error{}", out.trim_end()),
        Err(_) => format!("error: {error}"),
    }
}
