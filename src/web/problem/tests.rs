//! Every refusal and failure with its status and its words.

use super::*;

fn kind_of(error: impl Into<actions::Error>) -> Kind {
    Problem::from(error.into()).kind
}

#[test]
fn every_refusal_and_failure_has_its_status() {
    let fault = || "secret inner words".to_owned();
    for (error, status) in [
        (actions::Error::from(Refusal::unfit("day", "Write a day")), 422),
        (Refusal::conflict("bottles", "Only 2 are left").into(), 409),
        (Refusal::missing("", "batch").into(), 404),
        (Refusal::missing("place", "place").into(), 422),
        (Refusal::new(Why::Forbidden, "", "Only its taster may").into(), 403),
        (Failure::Gone.into(), 404),
        (Failure::Taken.into(), 409),
        (Failure::Again.into(), 503),
        (Failure::Busy.into(), 503),
        (Failure::Unavailable(fault()).into(), 503),
        (Failure::Refused(fault()).into(), 500),
        (Failure::Fault(fault()).into(), 500),
    ] {
        let problem = Problem::from(error.clone());
        assert_eq!(problem.status_code().as_u16(), status, "{error}");
        assert!(!problem.detail.contains("secret"), "{error}");
        assert_eq!(problem.header.is_some(), status == 503, "{error}");
    }
}

#[test]
fn a_refusal_that_the_form_can_help_goes_back_to_the_form() {
    assert!(Problem::or_refusal(Refusal::conflict("bottles", "Only 2 are left")).is_ok());
    assert!(Problem::or_refusal(Refusal::missing("place", "place")).is_ok());
    assert_eq!(Problem::or_refusal(Refusal::missing("", "batch")).unwrap_err().kind, Kind::Missing);
    assert_eq!(Problem::or_refusal(Failure::Busy).unwrap_err().kind, Kind::Busy);
    assert_eq!(kind_of(Refusal::new(Why::Forbidden, "", "no")), Kind::Forbidden);
}

#[test]
fn codes_are_told_apart_and_no_title_blames_or_begs() {
    let mut codes: Vec<_> = Kind::ALL.iter().map(|kind| kind.about().1).collect();
    codes.sort_unstable();
    codes.dedup();
    assert_eq!(codes.len(), Kind::ALL.len());
    for kind in Kind::ALL {
        let title = kind.about().2.to_lowercase();
        assert!(
            !title.contains("invalid") && !title.contains("please") && !title.contains("error"),
            "{title}"
        );
    }
}

#[test]
fn the_server_librarys_own_errors_get_words_of_ours() {
    for (status, kind) in
        [(400, Kind::Unreadable), (404, Kind::Missing), (413, Kind::TooLarge), (502, Kind::Fault)]
    {
        assert_eq!(Problem::of_status(StatusCode::from_u16(status).unwrap()).kind, kind);
    }
}

#[test]
fn the_wait_is_said_in_words() {
    assert!(Problem::too_many(1).detail.contains("Wait a second"));
    assert!(Problem::too_many(30).detail.contains("Wait 30 seconds"));
    assert!(Problem::too_many(301).detail.contains("Wait 6 minutes"));
    assert!(Problem::forbidden(Role::Onlooker, Role::Cellarhand).detail.contains("as an onlooker"));
}
