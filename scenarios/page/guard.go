package page

import (
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"runtime/debug"
	"slices"
)

// policy lets a page have what this program serves, and nothing else.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// guard refuses what no page of this program asks: another host's name, by which a
// foreign page would reach a program on this machine (DNS rebinding); other origins;
// anything but GET and HEAD; bodies. A panic is answered by 500, and the program lives.
func guard(hosts []string, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		head := w.Header()
		head.Set("Content-Security-Policy", policy)
		head.Set("X-Content-Type-Options", "nosniff")
		head.Set("Referrer-Policy", "no-referrer")
		head.Set("Cross-Origin-Resource-Policy", "same-origin")
		head.Set("Cross-Origin-Opener-Policy", "same-origin")
		defer func() {
			v := recover()
			if v == nil {
				return
			}
			if v == http.ErrAbortHandler {
				panic(v)
			}
			slog.Error("page: panic", "path", r.URL.Path, "what", fmt.Sprint(v), "stack", string(debug.Stack()))
			refuse(w, http.StatusInternalServerError, "the program failed at this request; it goes on")
		}()
		switch {
		case !slices.Contains(hosts, r.Host):
			refuse(w, http.StatusForbidden, "this page is not served under that name")
		case !sameOrigin(r):
			refuse(w, http.StatusForbidden, "other pages may not ask here")
		case r.Method != http.MethodGet && r.Method != http.MethodHead:
			head.Set("Allow", "GET, HEAD")
			refuse(w, http.StatusMethodNotAllowed, "want GET")
		case r.ContentLength > bodyBytes || r.ContentLength < 0:
			head.Set("Connection", "close")
			refuse(w, http.StatusRequestEntityTooLarge, "nothing here takes a body")
		default:
			r.Body = http.MaxBytesReader(w, r.Body, bodyBytes)
			next.ServeHTTP(w, r)
		}
	})
}

// sameOrigin tells whether r comes from the page itself, or from no page.
func sameOrigin(r *http.Request) bool {
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" && site != "same-origin" && site != "none" {
		return false
	}
	origin := r.Header.Get("Origin")
	if origin == "" {
		return true
	}
	u, err := url.Parse(origin)
	return err == nil && u.Host == r.Host
}
