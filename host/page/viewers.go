package page

import (
	"slices"
	"sync"
	"time"
)

// viewers are the pages that are open, in the order in which they came. The first of them
// holds the controls until it passes them on or is closed. A page is there while it has a
// stream or asks for something, and some time after.
type viewers struct {
	sync.Mutex
	list   []string // ids
	open   map[string]*presence
	holder string
	asks   string        // a viewer that asks for the controls
	passed chan struct{} // closed at the next change
	gone   func()        // called when the last is closed
}

// A presence is how a viewer is there.
type presence struct {
	now  int // streams and requests
	came int // times in all: one that came again is not closed for having left before
}

// A control is how a page stands to the controls.
type control struct {
	Holds  bool
	Others int  // pages that are open besides
	Asked  bool // another page asks the one that holds them
	Asks   bool // this page asks
}

// isViewer reports whether an id may be one that a page has given itself.
func isViewer(id string) bool { return id != "" && len(id) <= 64 }

// change wakes those who wait. The lock is held.
func (v *viewers) change() {
	if v.passed != nil {
		close(v.passed)
	}
	v.passed = make(chan struct{})
}

// come notes that a viewer is there, and gives what is to be called when it leaves: it
// counts as closed if it is not back after some time.
func (v *viewers) come(id string) (leave func(after time.Duration)) {
	v.Lock()
	defer v.Unlock()
	if v.open == nil {
		v.open = map[string]*presence{}
	}
	if v.open[id] == nil {
		v.open[id] = &presence{}
		v.list = append(v.list, id)
		v.change()
	}
	p := v.open[id]
	p.now++
	p.came++
	if v.holder == "" {
		v.holder = id
	}
	return func(after time.Duration) {
		v.Lock()
		defer v.Unlock()
		p.now--
		if came := p.came; p.now == 0 {
			time.AfterFunc(after, func() { v.close(id, came) })
		}
	}
}

// close drops a viewer that did not come back since.
func (v *viewers) close(id string, came int) {
	v.Lock()
	if p := v.open[id]; p == nil || p.now > 0 || p.came != came {
		v.Unlock()
		return
	}
	delete(v.open, id)
	v.list = slices.DeleteFunc(v.list, func(o string) bool { return o == id })
	if v.holder == id {
		v.holder = ""
		if len(v.list) > 0 {
			v.holder = v.list[0]
		}
	}
	if v.asks == id || v.asks == v.holder {
		v.asks = ""
	}
	v.change()
	last := len(v.list) == 0
	v.Unlock()
	if last {
		v.gone()
	}
}

// control is how a viewer stands to the controls, and a channel that is closed when that
// may have changed.
func (v *viewers) control(id string) (control, <-chan struct{}) {
	v.Lock()
	defer v.Unlock()
	if v.passed == nil {
		v.passed = make(chan struct{})
	}
	return control{Holds: v.holder == id, Others: len(v.list) - 1, Asked: v.holder == id && v.asks != "", Asks: v.asks == id}, v.passed
}

// claim reports whether a viewer that is there may do something. One whose holder is gone
// takes the controls: nobody is to be told of another page when there is none.
func (v *viewers) claim(id string) bool {
	v.Lock()
	defer v.Unlock()
	if v.holder != id && v.open[v.holder].now == 0 {
		v.take(id)
	}
	return v.holder == id
}

// take gives a viewer the controls. The lock is held.
func (v *viewers) take(id string) {
	v.holder, v.asks = id, ""
	v.change()
}

// ask asks for the controls.
func (v *viewers) ask(id string) {
	if v.claim(id) {
		return
	}
	v.Lock()
	defer v.Unlock()
	if id != v.holder {
		v.asks = id
		v.change()
	}
}

// pass passes the controls to the viewer that asked, else to the next one.
func (v *viewers) pass(id string) {
	v.Lock()
	defer v.Unlock()
	if v.holder != id || len(v.list) < 2 {
		return
	}
	to := v.asks
	if to == "" {
		to = v.list[(slices.Index(v.list, id)+1)%len(v.list)]
	}
	v.take(to)
}
