//! The command line: what each command does and says. Answers go to standard output, what is to be known
//! besides to standard error; 0 is done, 1 refused or failed, 2 misused.

use std::fmt::Display;
use std::io::{self, BufRead, IsTerminal};
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use tokio::sync::watch;
use tracing_subscriber::EnvFilter;
use undercroft::actions::archive;
use undercroft::actions::members::{self, NewToken};
use undercroft::config::{Cli, Club, Command, LogFormat, Member, Serve, Token};
use undercroft::db::connection::Address;
use undercroft::db::{Database, backup, verify};
use undercroft::domain::members::{NewClub, NewPerson, Onlooker, Password};
use undercroft::jobs::letters::post::MailServer;
use undercroft::jobs::{demo, letters, reminders};
use undercroft::web::extract::now;
use undercroft::web::server::{self, Settings};

/// Why a command was not carried out, for whoever typed it.
struct Words(String);

impl<E: Display> From<E> for Words {
    fn from(error: E) -> Self {
        Self(error.to_string())
    }
}

type Outcome = Result<(), Words>;

fn main() -> ExitCode {
    let (cli, database) = Cli::read();
    let outcome = start_log(&cli.log, cli.log_format)
        .and_then(|()| actix_web::rt::System::new().block_on(run(cli.command, &database)));
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(Words(words)) => {
            eprintln!("undercroft: {words}");
            ExitCode::FAILURE
        }
    }
}

fn start_log(filter: &str, format: LogFormat) -> Outcome {
    let filter = EnvFilter::try_new(filter)?;
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(io::stderr);
    match format {
        LogFormat::Text => log.with_ansi(io::stderr().is_terminal()).init(),
        LogFormat::Json => log.json().init(),
    }
    Ok(())
}

async fn run(command: Command, database: &Address) -> Outcome {
    match command {
        Command::Serve(how) => serve(database, how).await,
        Command::Demo(how) => demo(database, how).await,
        Command::Verify => verify(database),
        Command::Backup { file } => write_backup(database, &file),
        Command::Restore { file } => restore(database, &file),
        Command::Club(Club::New { name, currency, time_zone, steward_name, steward_email }) => {
            let steward = NewPerson::read(&steward_name, &steward_email, &password()?);
            new_club(database, NewClub::read(&name, &currency, &time_zone, steward)).await
        }
        Command::Club(Club::Export { club, file }) => {
            let manifest = archive::export(&existing(database)?, &club, &file, now()).await?;
            let (files, rows) = (manifest.files.len(), manifest.rows());
            println!("{}: {rows} rows of {} in {files} files.", file.display(), manifest.club_name);
            eprintln!(
                "It holds names, e-mail addresses and who took what: keep it as you keep the database."
            );
            Ok(())
        }
        Command::Club(Club::Import { file }) => import(database, file).await,
        Command::Member(Member::Password { email }) => {
            let db = existing(database)?;
            members::set_password(&db, &email, &Password::new(password()?), now()).await?;
            eprintln!("The password is changed, and all sessions of {email} have ended.");
            Ok(())
        }
        Command::Token(Token::New { club, email, scope }) => {
            let db = existing(database)?;
            let doer = members::doer_by_email(&db, &club, &email, now()).await?;
            let by = Onlooker::from_doer(doer).ok_or("Every member is an onlooker at least")?;
            let new = NewToken::read("made on the command line", scope, 365)?;
            let (_, token) = members::new_token(&db, &by, None, new).await?;
            println!("{}", token.reveal());
            Ok(())
        }
    }
}

async fn serve(database: &Address, how: Serve) -> Outcome {
    let (listener, settings, mail) = listen(how)?;
    let db = Database::open(database)?;
    if let Some(secret) = members::begin_set_up(&db, now()).await? {
        println!("There is no club here yet. Set it up within a day at this address, which works once:");
        println!("{}/set-up/{}", address(&settings), secret.reveal());
    }
    keep_serving(listener, db, settings, mail).await
}

async fn demo(database: &Address, how: Serve) -> Outcome {
    let (listener, settings, mail) = listen(how)?;
    let db = Database::open(database)?;
    let loaded = if let Some(found) = demo::found(&db).await? {
        println!("{} is as it was left, and its days have gone on.", found.club_name);
        if let Address::Sqlite(file) = database {
            println!("Delete {} to have it new.", file.display());
        }
        found
    } else {
        eprintln!("Loading the demo club …");
        let loaded = demo::load(&db, now()).await?;
        println!("{}: three years, all of it invented.", loaded.club_name);
        loaded
    };
    println!("Sign in as {} with the password {}", loaded.sign_in_as, loaded.password);
    keep_serving(listener, db, settings, mail).await
}

async fn keep_serving(
    listener: TcpListener,
    db: Database,
    settings: Settings,
    mail: Option<MailServer>,
) -> Outcome {
    println!("Serving at {}/", address(&settings));
    let (stop, stopped) = watch::channel(false);
    let reminding = actix_web::rt::spawn(reminders::run(db.clone(), stopped.clone()));
    let writing = mail.map(|mail| actix_web::rt::spawn(letters::run(db.clone(), mail, stopped)));
    let served = server::serve(listener, db, settings).await;
    stop.send_replace(true);
    reminding.await?;
    if let Some(writing) = writing {
        writing.await?;
    }
    Ok(served?)
}

fn listen(how: Serve) -> Result<(TcpListener, Settings, Option<MailServer>), Words> {
    let listener = TcpListener::bind(how.listen).map_err(|error| format!("{}: {error}", how.listen))?;
    let settings = Settings {
        base: how.base_path,
        public: how.public_address,
        plain_http: how.plain_http,
        behind_proxy: how.behind_proxy,
        mail: how.mail_server.is_some(),
        ..Settings::on(listener.local_addr()?)
    };
    if settings.plain_http {
        eprintln!(
            "Serving without TLS: whoever is on the same network can read passwords and take over sessions. \
             Do this only where every user of the network is trusted."
        );
    } else if settings.public.is_none() && !settings.listen.ip().is_loopback() {
        eprintln!(
            "Others can reach {}, but nobody can sign in until it is said how: put a proxy with TLS before it and give \
             --public-address https://…, or give --plain-http (its help says what that costs).",
            settings.listen
        );
    }
    let mail = match (&how.mail_server, &how.mail_from) {
        (Some(route), Some(from)) => {
            Some(MailServer::new(route, how.mail_password, from, &address(&settings))?)
        }
        _ => None,
    };
    Ok((listener, settings, mail))
}

fn address(settings: &Settings) -> String {
    format!("{}{}", settings.origin(), settings.base)
}

fn verify(database: &Address) -> Outcome {
    let findings = verify::verify(&mut existing(database)?.connection()?)?;
    let verify::Findings { entries, postings, accounts, batches, off } = findings;
    println!("Looked at {entries} entries, {postings} postings, {accounts} accounts, {batches} batches.");
    for words in &off {
        println!("Off: {words}");
    }
    if off.is_empty() {
        println!("All of it follows from the journal.");
        return Ok(());
    }
    Err(format!("{} of the checks failed; the first row of each is named above", off.len()).into())
}

fn write_backup(database: &Address, file: &Path) -> Outcome {
    let bytes = backup::backup(database, file, &mut progress("Written"))?;
    println!("{}: {bytes} bytes, looked through and sound.", file.display());
    Ok(())
}

fn restore(database: &Address, file: &Path) -> Outcome {
    let restored = backup::restore(database, file, &mut progress("Copied"))?;
    println!("Restored {} bytes from {}.", restored.bytes, file.display());
    if let Some(before) = restored.before {
        println!("The database from before is kept as {}.", before.display());
    }
    Ok(())
}

fn progress(done: &'static str) -> impl FnMut(u64, u64) {
    move |bytes, of| eprintln!("{done}: {} %", (bytes * 100).checked_div(of).unwrap_or(0))
}

async fn new_club(database: &Address, club: Result<NewClub, impl Display>) -> Outcome {
    let db = Database::open(database)?;
    let (id, _) = members::found_club(&db, club?, now()).await?;
    println!("{id}");
    Ok(())
}

async fn import(database: &Address, file: PathBuf) -> Outcome {
    let db = Database::open(database)?;
    let archive::Imported { club, club_name, rows, known_persons } =
        archive::import(&db, file, now()).await?;
    println!("{club}");
    eprintln!("{club_name} is here with {rows} rows, and its books hold.");
    if known_persons > 0 {
        eprintln!("{known_persons} of its persons were known here and keep the password they have.");
    }
    eprintln!(
        "An archive holds no passwords: give each member one with undercroft member password --email ADDRESS."
    );
    Ok(())
}

/// The database, which is not made here.
fn existing(database: &Address) -> Result<Database, Words> {
    if let Address::Sqlite(file) = database
        && !file.exists()
    {
        return Err(format!("{}: there is no database here", file.display()).into());
    }
    Ok(Database::open(database)?)
}

/// One line from standard input.
fn password() -> Result<String, Words> {
    if io::stdin().is_terminal() {
        eprintln!("Password (it is shown as you type):");
    }
    let mut line = String::new();
    io::stdin().lock().read_line(&mut line)?;
    let password = line.trim_end_matches(['\r', '\n']);
    if password.is_empty() {
        return Err("Give the password on standard input".into());
    }
    Ok(password.to_owned())
}
