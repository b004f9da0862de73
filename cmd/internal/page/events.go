package page

import (
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"drywire/cmd/internal/engine"
	"drywire/cmd/internal/local"
)

// event is what is pushed to a window.
type event struct {
	name string
	data json.RawMessage
}

// events is a stream of server-sent events that ends with the window or the server.
func (s *server) events(w http.ResponseWriter, r *http.Request) error {
	n, err := s.session(r.URL.Query().Get("session"))
	if err != nil {
		return err
	}
	told := make(chan event, 8)
	n.mu.Lock()
	if len(n.windows) >= mostEvents {
		n.mu.Unlock()
		return engine.ErrBusy
	}
	n.windows[told] = true
	n.mu.Unlock()
	defer func() {
		n.mu.Lock()
		defer n.mu.Unlock()
		delete(n.windows, told)
		n.left = s.now()
	}()
	w.Header().Set("Content-Type", "text/event-stream")
	rc := http.NewResponseController(w)
	say := func(text string) error {
		rc.SetWriteDeadline(time.Now().Add(local.WriteWait))
		if _, err := fmt.Fprint(w, text); err != nil {
			return err
		}
		return rc.Flush()
	}
	if err := say(": listening\n\n"); err != nil {
		return nil
	}
	for tick := time.NewTicker(heartbeat); ; {
		text := ": still here\n\n"
		select {
		case <-r.Context().Done():
			tick.Stop()
			return nil
		case <-tick.C:
		case e := <-told:
			text = fmt.Sprintf("event: %s\ndata: %s\n\n", e.name, e.data) // JSON has no line breaks
		}
		if say(text) != nil {
			tick.Stop()
			return nil
		}
	}
}

// tell sends to all windows of a session. One that does not read misses it: the next state is whole
// again. The lock is held.
func (n *session) tell(name string, data any) {
	b, err := json.Marshal(data)
	if err != nil {
		return
	}
	for told := range n.windows {
		select {
		case told <- event{name, b}:
		default:
		}
	}
}
