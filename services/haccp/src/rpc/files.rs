//! Files beside records: attached, listed, taken away again.
//! It never gives bytes whose hash is not that of their record.

use std::sync::Arc;

use domain::fault::Faults;
use platform::caller::Call;
use platform::error::Failure;
use platform::pages::Page;
use platform::shape;
use prost::bytes::Bytes;
use tonic::{Request, Response, Status};
use uuid::Uuid;
use wire::google::api::HttpBody;
use wire::v1;
use wire::v1::files_server::Files;

use super::Answer;
use crate::Haccp;
use crate::shape::files::{about_in, download_name, file_in, file_out, hash};
use crate::store::files::{self as store, FILE, FileRow, Wanted};
use crate::store::rows::{self, Record};

/// How much is sent at once.
const CHUNK: usize = 256 * 1024;

/// The parts of a download, which are all there when it begins.
type Parts = tokio_stream::Iter<std::vec::IntoIter<Result<HttpBody, Status>>>;

#[tonic::async_trait]
impl Files for Haccp {
    type DownloadFileStream = Parts;

    async fn attach_file(&self, request: Request<v1::AttachFileRequest>) -> Answer<v1::File> {
        attach(self, request).await
    }

    async fn get_file(&self, request: Request<v1::GetFileRequest>) -> Answer<v1::File> {
        let id = named(&request.get_ref().file)?;
        let work = self.db.read("haccp.get_file", |conn| Box::pin(store::find(conn, id)));
        Ok(Response::new(file_out(work.await?.ok_or_else(unknown)?)))
    }

    async fn download_file(&self, request: Request<v1::DownloadFileRequest>) -> Answer<Parts> {
        download(self, named(&request.get_ref().file)?).await
    }

    async fn list_files(
        &self,
        request: Request<v1::ListFilesRequest>,
    ) -> Answer<v1::ListFilesResponse> {
        list(self, request.into_inner()).await
    }
}

async fn attach(service: &Haccp, request: Request<v1::AttachFileRequest>) -> Answer<v1::File> {
    let call = Call::of(request.extensions())?;
    let new = file_in(&call, &service.house.plant, request.get_ref())?;
    let (columns, entry) = new.record();
    let stamp = new.stamp.clone();
    let form = "haccp.file/1";
    let record = Record { table: FILE, form, stamp, moments: None, columns, entry };
    let work = Arc::new((new, record));
    let asked = work.clone();
    let row = service
        .db
        .write("haccp.attach_file", move |conn| {
            let work = work.clone();
            Box::pin(async move {
                let (new, record) = &*work;
                if !rows::known(conn, FILE, &new.stamp).await? {
                    rows::insert(conn, record).await?;
                    store::keep(conn, new.stamp.id, &new.data).await?;
                }
                store::find(conn, new.stamp.id).await
            })
        })
        .await
        .map_err(|failure| asked.0.explain(failure))?;
    Ok(Response::new(file_out(row.ok_or_else(unknown)?)))
}

async fn download(service: &Haccp, id: Uuid) -> Answer<Parts> {
    let found = service.db.read("haccp.download_file", |conn| {
        Box::pin(async move {
            let row = store::find(conn, id).await?.ok_or_else(unknown)?;
            let content = store::content(conn, id).await?;
            Ok((row, content))
        })
    });
    let (row, content) = found.await?;
    if hash(&content) != row.sha256 {
        let cause = format!("the bytes of file {id} are not those that were recorded");
        return Err(Failure::internal(cause).into());
    }
    let mut response = Response::new(tokio_stream::iter(parts(&row, content.into())));
    let value = format!("attachment; filename=\"{}\"", download_name(&row)).parse();
    response.metadata_mut().insert("content-disposition", value.map_err(Failure::internal)?);
    Ok(response)
}

fn parts(row: &FileRow, content: Bytes) -> Vec<Result<HttpBody, Status>> {
    let starts = (0..content.len()).step_by(CHUNK);
    let part = |start: usize| {
        let data = content.slice(start..content.len().min(start + CHUNK));
        Ok(HttpBody { content_type: row.media_type.clone(), data })
    };
    starts.map(part).collect()
}

async fn list(service: &Haccp, request: v1::ListFilesRequest) -> Answer<v1::ListFilesResponse> {
    let mut faults = Faults::new();
    let wanted = match (request.about.as_str(), request.lot.as_str()) {
        (_, "") => about_in(&request.about, &mut faults)
            .map(|(kind, id)| Wanted::About(format!("{kind}:{id}"))),
        ("", lot) => shape::id(lot, "lot", &mut faults).map(Wanted::Lot),
        (about, _) => {
            faults.add_value("about", about, "must be left out where a lot is named");
            None
        }
    };
    let wanted = faults.into_result(wanted).map_err(Failure::from)?;
    let page = Page::of(request.page_size, &request.page_token)?;
    let asked = page.clone();
    let found = service.db.read("haccp.list_files", |conn| {
        Box::pin(async move { store::list(conn, &wanted, &asked).await })
    });
    let mut rows = found.await?;
    let next_page_token = page.cut(&mut rows, |row| row.id.to_string());
    let files = rows.into_iter().map(file_out).collect();
    Ok(Response::new(v1::ListFilesResponse { files, next_page_token }))
}

fn named(text: &str) -> Result<Uuid, Failure> {
    let mut faults = Faults::new();
    let id = shape::id(text, "file", &mut faults);
    Ok(faults.into_result(id)?)
}

fn unknown() -> Failure {
    Failure::not_found("file")
}
