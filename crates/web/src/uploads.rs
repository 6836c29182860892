//! Photos on their way in and out. A form sends one whole; a script sends it in parts and goes on after the
//! line broke, as the IETF's draft of resumable uploads has it: `HEAD` tells how far it came, `PATCH`
//! appends from there, and the last part is known by `Upload-Complete: ?1` or by `Upload-Length`.

use std::fs;
use std::io::{self, ErrorKind, Write as _};
use std::path::{Path as FilePath, PathBuf};
use std::time::{Duration, SystemTime};

use axum::Router;
use axum::body::Body;
use axum::extract::multipart::MultipartError;
use axum::extract::{DefaultBodyLimit, FromRequest as _, FromRequestParts as _};
use axum::extract::{Multipart, Path, RawQuery, Request, State};
use axum::http::{HeaderMap, HeaderName, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, head, post};
use daemon::Node;
use daemon::photos::pictures::{self, KeptPicture, MAX_FILE, PictureFault};
use futures_util::StreamExt as _;
use ledger::{PhotoHash, SessionId};
use serde::{Deserialize, Serialize};
use serde_json::json;

use crate::app::App;
use crate::photo_away;
use crate::photos_shown;
use crate::posting::{Posted, act_on, check_token, token_of, unreadable};
use crate::problem::Problem;
use crate::viewer::Viewer;

const OFFSET: HeaderName = HeaderName::from_static("upload-offset");
const LENGTH: HeaderName = HeaderName::from_static("upload-length");
const COMPLETE: HeaderName = HeaderName::from_static("upload-complete");

/// Most uploads of a session that are under way.
const MOST_UPLOADS: usize = 50;
/// How long an upload that is not gone on with is kept.
const KEPT: Duration = Duration::from_secs(14 * 24 * 3_600);
/// Room for the other fields of a form with a photo.
const MAX_FIELDS: usize = 256 * 1024;
const TOO_LARGE: Problem = Problem::TooLarge("a photo has at most 16 MiB");

pub(crate) fn routes() -> Router<App> {
    Router::new()
        .route("/photos", post(whole).layer(DefaultBodyLimit::max(MAX_FILE + MAX_FIELDS)))
        .route(
            "/photos/{photo}",
            get(show).merge(post(whole_of).layer(DefaultBodyLimit::max(MAX_FILE + MAX_FIELDS))),
        )
        .route("/uploads/{id}", head(how_far).patch(append))
}

/// A kept photo; with `?small`, its thumbnail. What is named by its hash never changes. Of one that is not here, a
/// picture that says where it is.
async fn show(
    State(app): State<App>,
    viewer: Viewer,
    Path(photo): Path<String>,
    RawQuery(query): RawQuery,
) -> Result<Response, Problem> {
    let photo: PhotoHash = photo.parse().map_err(|_| Problem::NotHere)?;
    let small = query.as_deref() == Some("small");
    let look = move |node: &mut Node| {
        photos_shown::may_see(&viewer, node.book(), photo).then(|| node.photo_elsewhere(photo))
    };
    let elsewhere = app.node(look).await?.ok_or(Problem::NotHere)?;
    let data = app.data().to_owned();
    let found = tokio::task::spawn_blocking(move || pictures::find(&data, photo, small)).await;
    let (kind, bytes) = match (found.map_err(|_| Problem::Broken)?, &elsewhere) {
        (Some(found), _) => found,
        (None, Some(elsewhere)) => return Ok(photo_away::stand_in(elsewhere)),
        (None, None) => return Err(Problem::NotHere),
    };
    // A small picture that another device made gives way to this device's own once the photo is here.
    let keep = if elsewhere.is_none() { "private, max-age=31536000, immutable" } else { "no-store" };
    let headers = [
        (header::CONTENT_TYPE, kind),
        (header::CONTENT_DISPOSITION, "inline; filename=\"photo\""),
        (header::CACHE_CONTROL, keep),
        // Whatever somebody got into it: nothing in it runs.
        (header::CONTENT_SECURITY_POLICY, "default-src 'none'; sandbox"),
    ];
    Ok((headers, bytes).into_response())
}

/// A form with photos: all are kept, and then the entry that names them is logged.
async fn whole(State(app): State<App>, request: Request) -> Result<Response, Problem> {
    match read_whole(&app, request).await? {
        Ok(posted) => posted.log(&app).await,
        Err(refused) => Ok(refused),
    }
}

/// The same for another form than an entry's: `/photos/survey` is `/do/survey` with photos.
async fn whole_of(
    State(app): State<App>,
    Path(name): Path<String>,
    request: Request,
) -> Result<Response, Problem> {
    match read_whole(&app, request).await? {
        Ok(posted) => act_on(&app, name, posted).await,
        Err(refused) => Ok(refused),
    }
}

/// A form, its photos kept; or the answer that one can't be.
async fn read_whole(app: &App, request: Request) -> Result<Result<Posted, Response>, Problem> {
    let (mut parts, body) = request.into_parts();
    let viewer = Viewer::from_request_parts(&mut parts, app).await?;
    let headers = parts.headers.clone();
    let multipart = Multipart::from_request(Request::from_parts(parts, body), app).await;
    let mut multipart = multipart.map_err(|_| unreadable())?;
    let (mut fields, mut files) = (Vec::new(), Vec::new());
    while let Some(field) = multipart.next_field().await.map_err(|error| of_multipart(&error))? {
        let name = field.name().unwrap_or_default().to_owned();
        // A file field is told by its file name, of which nothing else is believed.
        if field.file_name().is_some() {
            let bytes = field.bytes().await.map_err(|error| of_multipart(&error))?;
            if !bytes.is_empty() {
                files.push(bytes);
            }
        } else {
            fields.push((name, field.text().await.map_err(|error| of_multipart(&error))?));
        }
    }
    let mut posted = Posted::new(app, viewer, &headers, fields).await?;
    let data = app.data().to_owned();
    let kept = tokio::task::spawn_blocking(move || {
        files.iter().map(|file| pictures::keep(&data, file)).collect::<Result<Vec<KeptPicture>, _>>()
    });
    match kept.await.map_err(|_| Problem::Broken)? {
        Ok(kept) => posted.kept.extend(kept.iter().map(|kept| kept.photo)),
        Err(fault) => return Ok(Err(posted.refuse(app, &fault.to_string()))),
    }
    Ok(Ok(posted))
}

fn of_multipart(error: &MultipartError) -> Problem {
    if error.status() == StatusCode::PAYLOAD_TOO_LARGE { TOO_LARGE } else { unreadable() }
}

/// An upload of a session, by the id that its phone chose.
#[derive(Clone)]
struct Upload {
    data: PathBuf,
    part: PathBuf,
    done: PathBuf,
    prefix: String,
}

/// What became of an upload.
#[derive(Debug, Clone, Serialize, Deserialize)]
struct Finished {
    photo: PhotoHash,
    size: u64,
    length: u64,
}

enum Stand {
    Missing,
    Part(u64),
    Done(Finished),
}

/// What came of appending.
enum Appended {
    /// It goes on from here.
    At(u64),
    /// It does not fit: it stands here.
    Conflict(u64),
    Full,
}

impl Upload {
    fn new(data: &FilePath, session: SessionId, id: &str) -> Result<Self, Problem> {
        let is_id = (8..=64).contains(&id.len())
            && id.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-');
        if !is_id {
            return Err(Problem::NotHere);
        }
        let folder = data.join("uploads");
        let name = format!("{session}-{id}");
        let (part, done) = (folder.join(format!("{name}.part")), folder.join(format!("{name}.done")));
        Ok(Self { data: data.to_owned(), part, done, prefix: session.to_string() })
    }

    fn stand(&self) -> io::Result<Stand> {
        match fs::read(&self.done) {
            Ok(text) => return Ok(serde_json::from_slice(&text).map_or(Stand::Missing, Stand::Done)),
            Err(error) if error.kind() == ErrorKind::NotFound => {}
            Err(error) => return Err(error),
        }
        match fs::metadata(&self.part) {
            Ok(part) => Ok(Stand::Part(part.len())),
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(Stand::Missing),
            Err(error) => Err(error),
        }
    }

    /// Begins an upload, if there is room; old ones that nobody went on with make it.
    fn begin(&self) -> io::Result<bool> {
        let folder = self.data.join("uploads");
        fs::create_dir_all(&folder)?;
        let (mut count, now) = (0, SystemTime::now());
        for entry in fs::read_dir(&folder)? {
            let entry = entry?;
            let age = now.duration_since(entry.metadata()?.modified()?).unwrap_or_default();
            if age > KEPT {
                fs::remove_file(entry.path())?;
            } else if entry.path().extension().is_some_and(|ending| ending == "part")
                && entry.file_name().to_string_lossy().starts_with(&self.prefix)
            {
                count += 1;
            }
        }
        if count >= MOST_UPLOADS {
            return Ok(false);
        }
        fs::File::create(&self.part)?;
        Ok(true)
    }

    /// Appends at an offset, which must be where the upload stands.
    fn append(&self, offset: u64, bytes: &[u8]) -> io::Result<Appended> {
        let mut file = fs::OpenOptions::new().append(true).open(&self.part)?;
        let stands = file.metadata()?.len();
        if stands != offset {
            return Ok(Appended::Conflict(stands));
        }
        let after = offset.saturating_add(u64::try_from(bytes.len()).unwrap_or(u64::MAX));
        if after > u64::try_from(MAX_FILE).unwrap_or(u64::MAX) {
            return Ok(Appended::Full);
        }
        file.write_all(bytes)?;
        Ok(Appended::At(after))
    }

    /// Keeps the photo that arrived whole. One that is none is taken away.
    fn finish(&self) -> Result<Finished, PictureFault> {
        let bytes = fs::read(&self.part)?;
        let kept = pictures::keep(&self.data, &bytes);
        let finished = kept.map(|KeptPicture { photo, size }| Finished {
            photo,
            size,
            length: u64::try_from(bytes.len()).unwrap_or(u64::MAX),
        });
        if let Ok(finished) = &finished {
            fs::write(&self.done, serde_json::to_vec(finished).map_err(io::Error::other)?)?;
        }
        fs::remove_file(&self.part)?;
        finished
    }
}

/// The photo that a session sent under an id.
pub(crate) fn finished(data: &FilePath, session: SessionId, id: &str) -> Option<PhotoHash> {
    match Upload::new(data, session, id).ok()?.stand().ok()? {
        Stand::Done(finished) => Some(finished.photo),
        Stand::Missing | Stand::Part(_) => None,
    }
}

fn broken(error: &dyn std::fmt::Display) -> Problem {
    tracing::error!(%error, "a photo could not be taken in");
    Problem::Broken
}

/// Uses an upload on a thread that may wait for the disk, one at a time.
async fn with<R: Send + 'static>(
    app: &App,
    upload: &Upload,
    work: impl FnOnce(&Upload) -> R + Send + 'static,
) -> Result<R, Problem> {
    let (app, upload) = (app.clone(), upload.clone());
    tokio::task::spawn_blocking(move || app.uploading(|| work(&upload))).await.map_err(|error| broken(&error))
}

fn stands_at(status: StatusCode, offset: u64, complete: bool) -> Response {
    let complete = if complete { "?1" } else { "?0" };
    (status, [(OFFSET, offset.to_string()), (COMPLETE, complete.to_owned())]).into_response()
}

fn is_done(finished: &Finished) -> Response {
    let Finished { photo, size, length } = finished;
    let headers = [(OFFSET, length.to_string()), (COMPLETE, "?1".to_owned())];
    (headers, axum::Json(json!({ "saved": true, "photo": photo, "size": size }))).into_response()
}

/// How far an upload came.
async fn how_far(
    State(app): State<App>,
    viewer: Viewer,
    Path(id): Path<String>,
) -> Result<Response, Problem> {
    let upload = Upload::new(app.data(), viewer.session, &id)?;
    match with(&app, &upload, Upload::stand).await?.map_err(|error| broken(&error))? {
        Stand::Missing => Err(Problem::NotHere),
        Stand::Part(offset) => Ok(stands_at(StatusCode::OK, offset, false)),
        Stand::Done(finished) => Ok(stands_at(StatusCode::OK, finished.length, true)),
    }
}

/// Appends a part. What arrived before the line broke stays.
async fn append(
    State(app): State<App>,
    viewer: Viewer,
    Path(id): Path<String>,
    headers: HeaderMap,
    body: Body,
) -> Result<Response, Problem> {
    check_token(&app, viewer.session, token_of(&headers).unwrap_or_default()).await?;
    let number =
        |name: &HeaderName| headers.get(name).and_then(|value| value.to_str().ok()?.parse::<u64>().ok());
    let missing = || Problem::Refused("a part says where it begins, in Upload-Offset".to_owned());
    let mut offset = number(&OFFSET).ok_or_else(missing)?;
    let length = number(&LENGTH);
    let is_last = headers.get(&COMPLETE).is_some_and(|complete| complete == "?1");
    let upload = Upload::new(app.data(), viewer.session, &id)?;
    match with(&app, &upload, Upload::stand).await?.map_err(|error| broken(&error))? {
        Stand::Done(finished) => return Ok(is_done(&finished)),
        Stand::Part(stands) if stands == offset => {}
        Stand::Part(stands) => return Ok(stands_at(StatusCode::CONFLICT, stands, false)),
        Stand::Missing if offset > 0 => return Ok(stands_at(StatusCode::CONFLICT, 0, false)),
        Stand::Missing => {
            let begun = with(&app, &upload, Upload::begin).await?;
            if !begun.map_err(|error| broken(&error))? {
                return Err(Problem::TooMany);
            }
        }
    }
    let mut stream = body.into_data_stream();
    let mut line_broke = false;
    while let Some(part) = stream.next().await {
        let Ok(part) = part else {
            line_broke = true;
            break;
        };
        let appended = with(&app, &upload, move |upload| upload.append(offset, &part)).await?;
        match appended.map_err(|error| broken(&error))? {
            Appended::At(after) => offset = after,
            Appended::Conflict(stands) => return Ok(stands_at(StatusCode::CONFLICT, stands, false)),
            Appended::Full => return Err(TOO_LARGE),
        }
    }
    if line_broke || !(is_last || length == Some(offset)) {
        return Ok(stands_at(StatusCode::NO_CONTENT, offset, false));
    }
    match with(&app, &upload, Upload::finish).await? {
        Ok(finished) => Ok(is_done(&finished)),
        Err(PictureFault::Disk(error)) => Err(broken(&error)),
        Err(fault) => Err(Problem::Refused(format!("not saved, because {fault}"))),
    }
}
