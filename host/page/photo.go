package page

import (
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"chipassay/host/bench"
	"chipassay/host/photo"
	"chipassay/host/record"
)

// photoPages takes and gives pictures of chips.
func (s *Server) photoPages(mux *http.ServeMux) {
	mux.HandleFunc("POST /photo/{chip}", s.addPhoto)
	mux.HandleFunc("POST /photo/{chip}/back/{photo}", s.takeBackPhoto)
	mux.HandleFunc("GET /photo/{sha256}", s.picture)
	mux.HandleFunc("GET /photo/{sha256}/lettering", s.lettering)
}

// photoActions are those of the view of a photo.
var photoActions = map[string]action{"lettered": (*Server).lettered}

// images are the content types that are taken.
var images = map[string]bool{"image/jpeg": true, "image/png": true}

// One image is decoded at a time, which takes some hundred megabytes at most, and one is read.
var decoding, reading sync.Mutex

// addPhoto keeps the image of a request with a chip, and answers with its digest and its
// number, which takes it back. Another page may have the controls: nothing is switched.
func (s *Server) addPhoto(w http.ResponseWriter, r *http.Request) {
	chip, err := strconv.ParseInt(r.PathValue("chip"), 10, 64)
	if err != nil {
		http.NotFound(w, r)
		return
	}
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || !images[kind] {
		http.Error(w, "send a JPEG or PNG image", http.StatusUnsupportedMediaType)
		return
	}
	file, err := io.ReadAll(http.MaxBytesReader(w, r.Body, photo.MaxUpload))
	if tooLarge := (*http.MaxBytesError)(nil); errors.As(err, &tooLarge) {
		http.Error(w, fmt.Sprintf("the image has over %d MiB: take it with fewer pixels", photo.MaxUpload>>20), http.StatusRequestEntityTooLarge)
		return
	}
	if err != nil {
		http.Error(w, "the image did not arrive whole", http.StatusBadRequest)
		return
	}
	decoding.Lock()
	picture, err := photo.Picture(file)
	decoding.Unlock()
	if err != nil {
		http.Error(w, err.Error(), http.StatusUnprocessableEntity)
		return
	}
	s.withRecords(w, func(records *record.Store) error {
		p, err := records.AddPhoto(context.WithoutCancel(r.Context()), chip, picture)
		if err != nil {
			return err
		}
		s.Bench.Touch()
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		w.WriteHeader(http.StatusCreated)
		_, err = fmt.Fprintf(w, "%s %d", p.SHA256, p.Number)
		return err
	})
}

// takeBackPhoto takes a photo of a chip back.
func (s *Server) takeBackPhoto(w http.ResponseWriter, r *http.Request) {
	chip, err1 := strconv.ParseInt(r.PathValue("chip"), 10, 64)
	number, err2 := strconv.ParseInt(r.PathValue("photo"), 10, 64)
	if err := errors.Join(err1, err2); err != nil {
		http.NotFound(w, r)
		return
	}
	s.withRecords(w, func(records *record.Store) error {
		list, err := records.Photos(r.Context(), chip)
		if err != nil {
			return err
		}
		for _, p := range list {
			if p.Number == number {
				_, err := records.TakeBackPhoto(context.WithoutCancel(r.Context()), number)
				if err == nil {
					s.Bench.Touch()
					w.WriteHeader(http.StatusNoContent)
				}
				return err
			}
		}
		return record.ErrNoPhoto
	})
}

// picture answers with a picture. It is what its address says for ever.
func (s *Server) picture(w http.ResponseWriter, r *http.Request) {
	s.withPicture(w, r, func(p record.Picture) error {
		h := w.Header()
		h.Set("Content-Type", "image/jpeg")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Cache-Control", "private, max-age=31536000, immutable")
		_, err := w.Write(p.JPEG)
		return err
	})
}

// lettering answers with what may be printed on the chip in a picture, if something is read.
func (s *Server) lettering(w http.ResponseWriter, r *http.Request) {
	s.withPicture(w, r, func(p record.Picture) error {
		reading.Lock()
		text, err := photo.Lettering(r.Context(), p.JPEG)
		reading.Unlock()
		if err != nil || text == "" { // no program to read it, or it failed: there is no suggestion
			w.WriteHeader(http.StatusNoContent)
			return nil
		}
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		_, err = io.WriteString(w, text)
		return err
	})
}

var sha256Digits = regexp.MustCompile("^[0-9a-f]{64}$")

// withPicture has something done with the picture that an address names.
func (s *Server) withPicture(w http.ResponseWriter, r *http.Request, do func(record.Picture) error) {
	digest := r.PathValue("sha256")
	if !sha256Digits.MatchString(digest) {
		http.NotFound(w, r)
		return
	}
	s.withRecords(w, func(records *record.Store) error {
		p, err := records.Picture(r.Context(), digest)
		if err != nil {
			return err
		}
		return do(p)
	})
}

// withRecords has something done with the records, and answers for what went wrong.
func (s *Server) withRecords(w http.ResponseWriter, do func(*record.Store) error) {
	records := s.Bench.Records()
	if records == nil {
		http.Error(w, "no records are open: look for the adapter first", http.StatusServiceUnavailable)
		return
	}
	err := do(records)
	switch {
	case err == nil:
	case errors.Is(err, record.ErrNone), errors.Is(err, record.ErrNoPhoto):
		http.Error(w, err.Error(), http.StatusNotFound)
	default:
		http.Error(w, err.Error(), http.StatusInternalServerError)
	}
}

// lettered sets the marking of a chip. While that chip is in the socket the run does so, as
// the marking is that of its last record; else the record is corrected.
func (s *Server) lettered(f url.Values) error {
	text := strings.Join(strings.Fields(f.Get("marking")), " ")
	chip, err := strconv.ParseInt(f.Get("chip"), 10, 64)
	if text == "" || err != nil {
		return errors.New("nothing was typed")
	}
	state, _ := s.Bench.State()
	if state.Work == bench.DrawerRun && lastChip(state) == chip && state.Drawer.Standing.Kept && !state.Drawer.Standing.Testing {
		return s.Bench.Tell("marking " + text)
	}
	if err := mark(context.Background(), s.Bench.Records(), chip, text); err != nil {
		return err
	}
	s.Bench.Touch()
	return nil
}

// mark corrects the marking of a chip.
func mark(ctx context.Context, records *record.Store, chip int64, text string) error {
	history, err := records.History(ctx, chip)
	if err != nil {
		return err
	}
	current := record.Current(history)
	if current == nil {
		return fmt.Errorf("all records of chip %d were taken back", chip)
	}
	r, err := records.Get(ctx, current.Serial)
	if err != nil {
		return err
	}
	r.Kind, r.Corrects, r.RetestOf, r.Time, r.Marking = record.Correction, r.Serial, 0, time.Now(), text
	_, err = records.Append(ctx, r)
	return err
}

// lastChip is the number of the chip that was tested last in the run; 0 for none.
func lastChip(state bench.State) int64 {
	if state.Drawer == nil {
		return 0
	}
	written := state.Drawer.Standing.Written
	if len(written) == 0 {
		return 0
	}
	return written[len(written)-1].Chip
}

// LastChip is the number of the chip that was tested last in the run; 0 for none.
func (v view) LastChip() int64 { return lastChip(v.State) }

// Photos are the photos of the chip that was tested last.
func (v view) Photos() (photos, error) { return v.server.photosOf(context.Background(), v.LastChip()) }

// photos are those of a chip that hold, the latest first, for template photos.
type photos struct {
	Chip int64
	List []record.Photo
}

// photosOf are the photos of a chip.
func (s *Server) photosOf(ctx context.Context, chip int64) (photos, error) {
	records := s.Bench.Records()
	if records == nil || chip == 0 {
		return photos{}, nil
	}
	list, err := records.Photos(ctx, chip)
	if errors.Is(err, record.ErrNone) { // the records are another adapter's by now
		return photos{}, nil
	}
	slices.Reverse(list)
	return photos{chip, list}, err
}
