package page

import (
	"net/http"

	"drywire/chains"
)

type listening struct{}

func (s *server) figures(w http.ResponseWriter, r *http.Request) error { return refuse(422, "not yet") }
func (s *server) export(w http.ResponseWriter, r *http.Request) error  { return refuse(422, "not yet") }
func (s *server) testStart(w http.ResponseWriter, r *http.Request) error {
	return refuse(422, "not yet")
}
func (s *server) testAnswer(w http.ResponseWriter, r *http.Request) error {
	return refuse(422, "not yet")
}
func (s *server) testFinish(w http.ResponseWriter, r *http.Request) error {
	return refuse(422, "not yet")
}
func (n *session) cables(c *chains.Chain) []CableOf { return []CableOf{} }
