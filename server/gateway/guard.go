package gateway

import (
	"bytes"
	"errors"
	"io"
	"mime"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"time"
	"unicode/utf8"

	"google.golang.org/grpc/codes"

	"turnwright/server/call"
)

// Bounds of a request.
const (
	MaxBody = 1 << 20 // bytes, as for a call

	bodyPatience  = 30 * time.Second // for a body to arrive
	writePatience = 30 * time.Second // for a client to take a piece of the answer
)

// guard lets requests through that are well-formed and that no page of another site
// sent: on loopback a caller needs no token, and a browser would call for anyone.
func guard(next http.Handler, refuse func(http.ResponseWriter, *http.Request, error)) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		id := r.Header.Get(call.Key)
		if len(r.Header.Values(call.Key)) != 1 || !call.WellFormed(id) {
			id = call.New()
			r.Header.Set(call.Key, id)
		}
		h := w.Header()
		h.Set(call.Key, id)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Cache-Control", "no-store")
		p := &patient{w, http.NewResponseController(w)}
		w = p
		for _, check := range []func(http.ResponseWriter, *http.Request) error{host, origin, address, body} {
			if err := check(w, r); err != nil {
				refuse(w, r, err)
				return
			}
		}
		next.ServeHTTP(w, r)
		p.wait() // for the last of it: the time of a stream's last piece may be over long ago
	})
}

// host holds that the request is meant for this server: a name that someone makes
// point at loopback would get past the rule of one origin.
func host(_ http.ResponseWriter, r *http.Request) error {
	local, ok := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	if !ok || r.TLS != nil {
		return nil // with TLS the certificate holds it
	}
	if at, err := netip.ParseAddrPort(local.String()); err == nil && !at.Addr().Unmap().IsLoopback() {
		return nil // nobody is let in there without a token
	}
	name := r.Host
	if bare, _, err := net.SplitHostPort(name); err == nil {
		name = bare
	}
	name = strings.Trim(name, "[]")
	if at, err := netip.ParseAddr(name); err == nil && at.IsLoopback() || strings.EqualFold(name, "localhost") {
		return nil
	}
	return refused(http.StatusForbidden, codes.PermissionDenied, "this server is not called %q: use its address or localhost", clip(r.Host))
}

var sameOrigin http.CrossOriginProtection

// origin refuses what a page of another site asks, reading included.
func origin(_ http.ResponseWriter, r *http.Request) error {
	if r.URL.Path == "/" && r.Method == http.MethodGet {
		return nil // the page holds nothing of anyone, and may be linked to from everywhere
	}
	asked := *r
	asked.Method = http.MethodPost // the check lets GET pass
	if sameOrigin.Check(&asked) != nil {
		return refused(http.StatusForbidden, codes.PermissionDenied, "a page of another site may not use this server")
	}
	return nil
}

// address holds that the path and the query are text once they are unescaped, as
// fields are set from them.
func address(_ http.ResponseWriter, r *http.Request) error {
	query, err := url.QueryUnescape(r.URL.RawQuery)
	if err != nil || !utf8.ValidString(query) || !utf8.ValidString(r.URL.Path) {
		return refused(http.StatusBadRequest, codes.InvalidArgument, "the path and the query must be UTF-8, escaped as in a URL")
	}
	return nil
}

// body takes the whole body in, within bounds of size and time: where a stream is
// answered nothing more is read.
func body(w http.ResponseWriter, r *http.Request) error {
	if r.Method != http.MethodPost {
		if r.ContentLength != 0 {
			return refused(http.StatusBadRequest, codes.InvalidArgument, "%s has no body: its fields are in the path and in the query", clip(r.Method))
		}
		return nil
	}
	media, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || media != "application/json" {
		return refused(http.StatusUnsupportedMediaType, codes.InvalidArgument, "the body must be JSON, with Content-Type: application/json")
	}
	control := http.NewResponseController(w)
	if err := control.SetReadDeadline(time.Now().Add(bodyPatience)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return err
	}
	read, err := io.ReadAll(http.MaxBytesReader(w, r.Body, MaxBody))
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		return refused(http.StatusRequestEntityTooLarge, codes.ResourceExhausted, "the body has more than %d bytes", MaxBody)
	case err != nil:
		return refused(http.StatusBadRequest, codes.InvalidArgument, "the body did not arrive")
	}
	r.Body = io.NopCloser(bytes.NewReader(read))
	if err := control.SetReadDeadline(time.Time{}); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return err
	}
	return nil
}

// patient waits only so long for a client to take each piece of an answer. A stream
// may last for days, and so the server can't set one limit for all of it.
type patient struct {
	http.ResponseWriter
	control *http.ResponseController
}

func (p *patient) Write(b []byte) (int, error) {
	p.wait()
	return p.ResponseWriter.Write(b)
}

// wait gives the client time from now on.
func (p *patient) wait() {
	// Not every writer has deadlines, those of tests have none.
	_ = p.control.SetWriteDeadline(time.Now().Add(writePatience))
}

// Unwrap lets a response controller find the writer below.
func (p *patient) Unwrap() http.ResponseWriter { return p.ResponseWriter }

// clip keeps hostile names out of messages.
func clip(s string) string {
	if len(s) > 100 {
		return s[:100] + "…"
	}
	return s
}
