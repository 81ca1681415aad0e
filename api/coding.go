package api

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"strconv"
	"strings"
	"sync"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
)

// smallestCoded is the answer from which on coding pays.
const smallestCoded = 1024

// keptAnswer keeps an answer until it is whole, so that its ETag can be told and half of it is never
// sent.
type keptAnswer struct {
	out    http.ResponseWriter // where it goes when it is whole
	header http.Header
	status int
	body   bytes.Buffer
}

func (k *keptAnswer) Header() http.Header         { return k.header }
func (k *keptAnswer) WriteHeader(status int)      { k.status = status }
func (k *keptAnswer) Write(b []byte) (int, error) { return k.body.Write(b) }
func (k *keptAnswer) reset()                      { k.status = 0; k.body.Reset() }

// keptAnswers lends the memory of answers: a plan's is 80 kB.
var keptAnswers = sync.Pool{New: func() any { return new(keptAnswer) }}

const mostLentBytes = 1 << 20

func keepAnswer(out http.ResponseWriter) *keptAnswer {
	k := keptAnswers.Get().(*keptAnswer)
	k.out, k.header = out, out.Header()
	return k
}

// giveBack is for when nobody will write to it any more.
func (k *keptAnswer) giveBack() {
	if k.body.Cap() > mostLentBytes {
		return
	}
	k.reset()
	k.out, k.header = nil, nil
	keptAnswers.Put(k)
}

// code keeps the answer of what lies within, then sends it: with a strong ETag and 304 where a read
// asks, gzip coded where the caller takes it, without a body for HEAD.
func (a *API) code(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		out := c.Response().Writer
		kept := keepAnswer(out)
		c.Response().Writer = kept
		err := next(c)
		c.Response().Writer = out
		if err == nil && kept.status != 0 {
			c.Response().Status, c.Response().Size, err = kept.send(out, c.Request(), &a.zips)
		}
		kept.giveBack() // not where it panicked: who knows who has it then
		return err
	}
}

// send gives the status and the number of body bytes sent.
func (k *keptAnswer) send(out http.ResponseWriter, r *http.Request, z *zips) (int, int64, error) {
	k.header.Add("Vary", "Accept-Encoding")
	var sum [sha256.Size]byte // of what may be asked for again
	coded := k.body.Len() > smallestCoded && takesGzip(r.Header.Values("Accept-Encoding"))
	if isRead(r) && k.status == http.StatusOK && k.header.Get("Cache-Control") != "no-store" {
		sum = sha256.Sum256(k.body.Bytes())
		tag := etag(hex.EncodeToString(sum[:]), coded)
		k.header.Set("ETag", tag)
		if matches(r.Header.Values("If-None-Match"), tag) {
			k.header.Del("Content-Type")
			out.WriteHeader(http.StatusNotModified)
			return http.StatusNotModified, 0, nil
		}
	}
	body := k.body.Bytes()
	if coded {
		body = z.zipped(body, sum)
		k.header.Set("Content-Encoding", "gzip")
	}
	if k.status != http.StatusNoContent && k.status != http.StatusNotModified {
		k.header.Set("Content-Length", strconv.Itoa(len(body)))
	}
	out.WriteHeader(k.status)
	if r.Method == http.MethodHead {
		return k.status, 0, nil
	}
	n, err := out.Write(body)
	return k.status, int64(n), err
}

func isRead(r *http.Request) bool { return r.Method == http.MethodGet || r.Method == http.MethodHead }

func hexSHA256(body []byte) string {
	sum := sha256.Sum256(body)
	return hex.EncodeToString(sum[:])
}

// etag is the SHA-256 of the bytes before coding, in hex, marked by the coding.
func etag(sum string, coded bool) string {
	suffix := ""
	if coded {
		suffix = "-gzip"
	}
	return `"` + sum + suffix + `"`
}

// unlessKnown answers 304 by the hash of a plan alone where the caller has it already: nobody reads the bytes then. What
// it does not tell apart goes on to next, which finds out from the bytes.
func (a *API) unlessKnown(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		fields := r.Header.Values("If-None-Match")
		id, err := uuid.Parse(c.Param("id"))
		if len(fields) == 0 || err != nil {
			return next(c)
		}
		sum, err := a.plans.SHA256(r.Context(), org(r.Context()), id)
		if err != nil {
			return err
		}
		tag := etag(sum, takesGzip(r.Header.Values("Accept-Encoding"))) // a plan is longer than smallestCoded
		if !matches(fields, tag) {
			return next(c)
		}
		c.Response().Header().Set("Cache-Control", readAgain)
		c.Response().Header().Set("ETag", tag)
		return c.NoContent(http.StatusNotModified)
	}
}

// matches tells whether If-None-Match names the tag. The comparison is the weak one (RFC 9110, 13.1.2).
func matches(fields []string, tag string) bool {
	for _, field := range fields {
		for named := range strings.SplitSeq(field, ",") {
			if named = strings.TrimSpace(named); named == "*" || strings.TrimPrefix(named, "W/") == tag {
				return true
			}
		}
	}
	return false
}

// takesGzip reads Accept-Encoding (RFC 9110, 12.5.3): gzip must be acceptable, and no less wanted
// than the plain answer.
func takesGzip(fields []string) bool {
	weight := map[string]float64{}
	for _, field := range fields {
		for part := range strings.SplitSeq(field, ",") {
			name, parameter, _ := strings.Cut(part, ";")
			q := 1.0
			if text, ok := strings.CutPrefix(strings.ToLower(strings.TrimSpace(parameter)), "q="); ok {
				if parsed, err := strconv.ParseFloat(text, 64); err == nil {
					q = parsed
				}
			}
			weight[strings.ToLower(strings.TrimSpace(name))] = q
		}
	}
	gzipQ, named := weight["gzip"]
	if !named {
		gzipQ = weight["*"]
	}
	return gzipQ > 0 && gzipQ >= weight["identity"]
}

// zips keeps what was coded, by the hash of the bytes before: coding a plan costs many times what reading it does, and
// the same is read again. Whoever gets it has been given those bytes. It is safe for concurrent use.
type zips struct {
	mu    sync.Mutex
	kept  map[[sha256.Size]byte][]byte
	bytes int
}

const mostZippedBytes = 16 << 20

// zipped codes bytes. The zero sum is of what is not asked for again, and not kept.
func (z *zips) zipped(body []byte, sum [sha256.Size]byte) []byte {
	z.mu.Lock()
	kept, ok := z.kept[sum]
	z.mu.Unlock()
	if ok {
		return kept
	}
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, _ = w.Write(body) // a bytes.Buffer takes everything
	_ = w.Close()
	if sum == [sha256.Size]byte{} {
		return b.Bytes()
	}
	z.mu.Lock()
	defer z.mu.Unlock()
	if z.kept == nil || z.bytes+b.Len() > mostZippedBytes {
		z.kept, z.bytes = map[[sha256.Size]byte][]byte{}, 0
	}
	if _, twice := z.kept[sum]; !twice {
		z.kept[sum] = b.Bytes()
		z.bytes += b.Len()
	}
	return b.Bytes()
}
