// Package gateway serves the API as JSON over HTTP, as proto/rest.yaml lays it out,
// beside pages for machines: health, metrics, the API's description.
//
// The one idea: it is a client like any other. A request becomes a call of the gRPC
// server over a pipe inside the process, so whatever holds for calls holds for
// requests: who may do what, limits, logs, counts. What the pipe hides, the caller's
// address, is passed along and believed on this pipe only.
//
//	pipe := gateway.NewPipe()
//	go grpcServer.Serve(pipe) // with gateway.Credentials
//	handler, err := gateway.New(pipe, gateway.Pages{…})
//
// It knows no message of the API.
package gateway

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"

	"turnwright/api/openapi"
	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/call"
	"turnwright/server/fail"
)

// services has each service of the API: a test finds the one that is missing.
var services = []func(context.Context, *runtime.ServeMux, *grpc.ClientConn) error{
	v1.RegisterAdministrationServiceHandler,
	v1.RegisterCommutatorServiceHandler,
	v1.RegisterCoverageServiceHandler,
	v1.RegisterDrawServiceHandler,
	v1.RegisterEffectServiceHandler,
	v1.RegisterFindingServiceHandler,
	v1.RegisterFitServiceHandler,
	v1.RegisterInsertionServiceHandler,
	v1.RegisterMemberServiceHandler,
	v1.RegisterPuzzleServiceHandler,
	v1.RegisterRoundServiceHandler,
	v1.RegisterSearchServiceHandler,
	v1.RegisterStatusServiceHandler,
	v1.RegisterStudyServiceHandler,
	v1.RegisterWorkerServiceHandler,
}

// Pages are what is served beside the API.
type Pages struct {
	Metrics http.Handler                // for those who may see the server's status
	Ready   func(context.Context) error // nil while new work is taken
	People  http.Handler                // the page for people, at "/" and under "/page/"
}

// Gateway is the HTTP side of a server.
type Gateway struct {
	http.Handler
	mux  *runtime.ServeMux
	conn *grpc.ClientConn
}

// New makes the gateway of the gRPC server at the other end of the pipe.
func New(pipe *Pipe, pages Pages) (*Gateway, error) {
	conn, err := pipe.dial()
	if err != nil {
		return nil, fmt.Errorf("connect the gateway: %w", err)
	}
	g := &Gateway{conn: conn}
	g.mux = runtime.NewServeMux(
		runtime.WithMarshalerOption(runtime.MIMEWildcard, marshaler),
		runtime.WithIncomingHeaderMatcher(func(name string) (string, bool) {
			return call.Key, name == http.CanonicalHeaderKey(call.Key)
		}),
		runtime.WithOutgoingHeaderMatcher(func(string) (string, bool) { return "", false }),
		runtime.WithOutgoingTrailerMatcher(func(string) (string, bool) { return "", false }),
		runtime.WithMetadata(func(_ context.Context, r *http.Request) metadata.MD { return remote(r) }),
		runtime.WithErrorHandler(writeError),
		runtime.WithRoutingErrorHandler(routingError),
		runtime.WithDisablePathLengthFallback(), // no GET in a POST's clothes
		runtime.WithDisableHTTPMethodOverride(),
	)
	for _, register := range services {
		if err := register(context.Background(), g.mux, conn); err != nil {
			return nil, errors.Join(fmt.Errorf("register with the gateway: %w", err), conn.Close())
		}
	}
	g.Handler = guard(g.routes(pages), g.refuse)
	return g, nil
}

// Close ends the connection to the gRPC server.
func (g *Gateway) Close() error { return g.conn.Close() }

func (g *Gateway) routes(pages Pages) http.Handler {
	routes := http.NewServeMux()
	routes.Handle("/", g.mux)
	routes.Handle("GET /{$}", pages.People)
	routes.Handle("GET /page/", pages.People)
	routes.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { plain(w, http.StatusOK, "ok") })
	routes.HandleFunc("GET /readyz", func(w http.ResponseWriter, r *http.Request) {
		if err := pages.Ready(r.Context()); err != nil {
			plain(w, http.StatusServiceUnavailable, err.Error())
			return
		}
		plain(w, http.StatusOK, "ready")
	})
	routes.HandleFunc("GET /openapi.json", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write(openapi.Document)
	})
	routes.HandleFunc("GET /metrics", func(w http.ResponseWriter, r *http.Request) {
		if err := g.allowed(r); err != nil {
			g.refuse(w, r, err)
			return
		}
		pages.Metrics.ServeHTTP(w, r)
	})
	return routes
}

// allowed asks the server whether who sent the request may see its status.
func (g *Gateway) allowed(r *http.Request) error {
	ctx, err := runtime.AnnotateContext(r.Context(), g.mux, r, v1.StatusService_GetStatus_FullMethodName)
	if err != nil {
		return err
	}
	_, err = v1.NewStatusServiceClient(g.conn).GetStatus(ctx, &v1.GetStatusRequest{})
	return err
}

func plain(w http.ResponseWriter, code int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(code)
	_, _ = fmt.Fprintln(w, text)
}

// marshaler writes every field, and takes none that it doesn't know: a client that
// misspells one is told.
var marshaler = lines{&runtime.JSONPb{
	MarshalOptions:   protojson.MarshalOptions{EmitDefaultValues: true},
	UnmarshalOptions: protojson.UnmarshalOptions{DiscardUnknown: false},
}}

// lines is JSON that says of streams what they are: an object a line.
type lines struct{ *runtime.JSONPb }

// StreamContentType is the media type of streams.
func (lines) StreamContentType(any) string { return "application/x-ndjson" }

// refuse answers a request that does not come as far as a call, or fails there.
func (g *Gateway) refuse(w http.ResponseWriter, r *http.Request, err error) {
	writeError(r.Context(), g.mux, marshaler, w, r, err)
}

// refused makes the error of a request that is not one of this API.
func refused(httpCode int, code codes.Code, format string, args ...any) error {
	return &runtime.HTTPStatusError{
		HTTPStatus: httpCode,
		Err:        fail.With(code, v1.ErrorReason_ERROR_REASON_HTTP_REFUSED, fmt.Sprintf(format, args...)),
	}
}

func routingError(ctx context.Context, mux *runtime.ServeMux, m runtime.Marshaler, w http.ResponseWriter, r *http.Request, code int) {
	err := refused(http.StatusNotFound, codes.NotFound, "there is nothing at this path: /openapi.json lists what there is")
	if code != http.StatusNotFound {
		err = refused(code, codes.Unimplemented, "%s does not go with this path: /openapi.json lists what does", http.StatusText(code))
	}
	writeError(ctx, mux, m, w, r, err)
}

// writeError answers with a google.rpc.Status, as the gateway's own handler does, but
// always with a reason, and with what HTTP's own headers can say of it.
func writeError(_ context.Context, _ *runtime.ServeMux, m runtime.Marshaler, w http.ResponseWriter, _ *http.Request, err error) {
	var own *runtime.HTTPStatusError
	if errors.As(err, &own) {
		err = own.Err
	}
	st := status.Convert(err)
	if len(st.Details()) == 0 { // the gateway made it
		st = status.Convert(fail.With(st.Code(), reason(st.Code()), st.Message()))
	}
	httpCode := runtime.HTTPStatusFromCode(st.Code())
	if own != nil {
		httpCode = own.HTTPStatus
	}
	for _, detail := range st.Details() {
		if retry, ok := detail.(*errdetails.RetryInfo); ok {
			seconds := (retry.GetRetryDelay().AsDuration() + time.Second - 1) / time.Second
			w.Header().Set("Retry-After", strconv.Itoa(int(seconds)))
		}
	}
	if st.Code() == codes.Unauthenticated {
		w.Header().Set("WWW-Authenticate", "Bearer")
	}
	body, err := m.Marshal(st.Proto())
	if err != nil { // details that this program does not know
		httpCode, body = http.StatusInternalServerError, []byte(`{"code": 13, "message": "the error can't be written as JSON"}`)
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(httpCode)
	_, _ = w.Write(body)
}

func reason(code codes.Code) v1.ErrorReason {
	switch code {
	case codes.Unavailable:
		return v1.ErrorReason_ERROR_REASON_STOPPING
	case codes.Internal, codes.Unknown:
		return v1.ErrorReason_ERROR_REASON_INTERNAL
	}
	return v1.ErrorReason_ERROR_REASON_HTTP_REFUSED
}
