package main

import (
	"bytes"
	"net/http"
	"slices"
	"strconv"

	"vibe/assess"
)

// sound answers with the newest seconds, or with those before mark=N of this session, as the WAV that vibe learn
// hear makes of them.
func (v viewed) sound(w http.ResponseWriter, r *http.Request) {
	readings, why := v.session.Readings(), "there is no number now that could be heard"
	if text := r.URL.Query().Get("mark"); text != "" {
		marks := v.session.Now().Marks
		n, err := strconv.Atoi(text)
		if err != nil || n < 0 || n >= len(marks) {
			http.Error(w, "there is no such mark", http.StatusNotFound)
			return
		}
		readings, why = marks[n].Heard, "that mark had no number that could be heard"
	}
	if !slices.ContainsFunc(readings, func(r assess.Reading) bool { return r.OK }) {
		http.Error(w, why, http.StatusNotFound)
		return
	}
	var wav bytes.Buffer
	if err := writeSound(&wav, sound(readings)); err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "audio/wav")
	_, _ = w.Write(wav.Bytes()) // who went away hears nothing
}
