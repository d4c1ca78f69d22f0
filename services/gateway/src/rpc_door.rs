//! The gRPC door: a tonic server of its own that forwards bodies undecoded over the same hops.
//! It never lets an INTERNAL method or a header of ours in from outside.

use std::convert::Infallible;
use std::net::SocketAddr;
use std::task::{Context, Poll};
use std::time::Duration;
use std::{io, net};

use futures_util::future::BoxFuture;
use http::{HeaderValue, Request, Response};
use platform::caller::{REQUEST_ID_HEADER, operation};
use platform::error::{Failure, Kind};
use platform::hop::Hops;
use platform::records;
use platform::tasks::Tasks;
use tokio::net::TcpListener;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;
use tonic::Status;
use tonic::body::Body;
use tonic::service::Routes;
use tonic::transport::Server;
use tonic::transport::server::TcpIncoming;
use tower::{Service, ServiceExt};
use wire::contract::{Access, PUBLIC_DESCRIPTOR_SET, operations};

use crate::Gateway;

/// How long begun calls may take once a stop is asked for.
const STOP_LIMIT: Duration = Duration::from_secs(10);
/// What our own headers begin with.
const OURS: &str = "hankbook-";

/// The open gRPC door.
pub struct RpcDoor {
    /// Where it listens.
    pub address: SocketAddr,
    stop: oneshot::Sender<()>,
    served: JoinHandle<Result<(), tonic::transport::Error>>,
}

impl RpcDoor {
    /// Takes no new call and waits for those begun; a client that keeps its connection open
    /// without a word does not hold up the stop.
    pub async fn close(mut self) {
        // The receiver is gone only when the server has ended already.
        self.stop.send(()).ok();
        match tokio::time::timeout(STOP_LIMIT, &mut self.served).await {
            Ok(Ok(Ok(()))) => {}
            Ok(_) => tracing::warn!("the gRPC door did not close cleanly"),
            Err(_) => {
                tracing::warn!("a gRPC client kept its connection; it was closed");
                self.served.abort();
            }
        }
    }
}

/// Opens the door on a listener.
pub async fn open(
    gateway: &Gateway,
    listener: net::TcpListener,
    tasks: &Tasks,
) -> io::Result<RpcDoor> {
    listener.set_nonblocking(true)?;
    let address = listener.local_addr()?;
    let incoming = incoming(listener)?;
    let routes = routes(gateway).await.map_err(io::Error::other)?;
    let (stop, stopped) = oneshot::channel();
    let server = Server::builder().add_routes(routes);
    let served = tasks.spawn(server.serve_with_incoming_shutdown(incoming, async {
        stopped.await.ok();
    }));
    Ok(RpcDoor { address, stop, served })
}

/// The server's own setting counts only for listeners that it binds itself: without this every
/// answer waits 40 ms for the client's delayed acknowledgement.
fn incoming(listener: net::TcpListener) -> io::Result<TcpIncoming> {
    Ok(TcpIncoming::from(TcpListener::from_std(listener)?).with_nodelay(Some(true)))
}

async fn routes(gateway: &Gateway) -> Result<Routes, tonic_reflection::server::Error> {
    let builder = || {
        tonic_reflection::server::Builder::configure()
            .register_encoded_file_descriptor_set(PUBLIC_DESCRIPTOR_SET)
            .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
    };
    let (reporter, health) = tonic_health::server::health_reporter();
    for service in operations().iter().filter(|found| found.access != Access::Internal) {
        let serving = tonic_health::ServingStatus::Serving;
        reporter.set_service_status(&service.service, serving).await;
    }
    let routes = Routes::new(health)
        .add_service(builder().build_v1()?)
        .add_service(builder().build_v1alpha()?);
    let forward = Forward { hops: gateway.hops.clone() };
    Ok(Routes::from(routes.into_axum_router().fallback_service(forward)))
}

/// Forwards a call to the hop of its service.
#[derive(Clone)]
struct Forward {
    hops: Hops,
}

impl<B> Service<Request<B>> for Forward
where
    B: http_body::Body<Data = bytes::Bytes> + Send + 'static,
    B::Error: Into<tower::BoxError>,
{
    type Response = Response<Body>;
    type Error = Infallible;
    type Future = BoxFuture<'static, Result<Response<Body>, Infallible>>;

    fn poll_ready(&mut self, _: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        Poll::Ready(Ok(()))
    }

    fn call(&mut self, request: Request<B>) -> Self::Future {
        let hops = self.hops.clone();
        Box::pin(async move {
            let answered = forward(hops, request.map(Body::new)).await;
            Ok(answered.unwrap_or_else(|failure| Status::from(failure).into_http()))
        })
    }
}

async fn forward(hops: Hops, mut request: Request<Body>) -> Result<Response<Body>, Failure> {
    let path = request.uri().path();
    let public = operation(path).filter(|found| found.access != Access::Internal);
    let no_such = || Failure::new(Kind::NoSuchOperation, "There is no such operation.");
    let path = public.map(|found| found.grpc_path.as_str()).ok_or_else(no_such)?;
    let away = || Failure::new(Kind::Unavailable, "This part is not running.");
    let hop = hops.to(path).ok_or_else(away)?;
    let headers = request.headers_mut();
    let ours: Vec<_> =
        headers.keys().filter(|name| name.as_str().starts_with(OURS)).cloned().collect();
    for name in ours {
        headers.remove(name);
    }
    let id = HeaderValue::try_from(records::new_id().to_string()).map_err(Failure::internal)?;
    headers.insert(REQUEST_ID_HEADER, id);
    hop.oneshot(request).await.map_err(|error| away().with_cause(error))
}

#[cfg(test)]
mod tests {
    use super::*;
    use futures_util::StreamExt as _;

    #[tokio::test]
    async fn an_answer_does_not_wait_for_the_clients_acknowledgement() {
        let listener = net::TcpListener::bind("127.0.0.1:0").expect("a port");
        listener.set_nonblocking(true).expect("a listener for tokio");
        let address = listener.local_addr().expect("an address");
        let mut incoming = incoming(listener).expect("a door");
        let client = tokio::net::TcpStream::connect(address);
        let (client, accepted) = tokio::join!(client, incoming.next());
        let accepted = accepted.expect("a connection").expect("an open one");
        assert!(client.is_ok());
        assert!(accepted.nodelay().expect("its setting"));
    }
}
