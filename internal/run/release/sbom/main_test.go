package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/crashtest"
)

func TestMain(m *testing.M) { crashtest.Main(m) }

// permissive licences ask for nothing but their text beside the binary.
var permissive = map[string]bool{"MIT": true, "BSD-2-Clause": true, "BSD-3-Clause": true, "Apache-2.0": true,
	"ISC": true, "Unlicense": true}

// listed are the modules under another licence, each with why it may be linked.
var listed = map[string]struct{ licence, why string }{
	"github.com/eclipse/paho.mqtt.golang": {"EPL-2.0", "file-level copyleft: unchanged and linked, its source is named " +
		"in the bill; section 3.2 allows the binary under other terms"},
}

// Whatever is linked has a licence that is known, and one that is not permissive
// stands on the list with a reason.
func TestEveryLinkedModuleHasALicenceThatAllowsIt(t *testing.T) {
	binary := crashtest.Binary(t)
	var out bytes.Buffer
	require.NoError(t, run(binary, "1.2.3", false, &out))
	var b bom
	require.NoError(t, json.Unmarshal(out.Bytes(), &b))
	require.Equal(t, "CycloneDX", b.Format)
	require.Equal(t, "1.2.3", b.Metadata.Component.Version, "a bill says of which binary it is")
	require.Greater(t, len(b.Components), 20)
	seen := map[string]bool{}
	for _, c := range b.Components {
		require.NotEmpty(t, c.Version, c.Name)
		if !assert.Len(t, c.Licences, 1, "%s %s: its licence is not recognised; look at it, and list it or leave it out",
			c.Name, c.Version) {
			continue
		}
		seen[c.Name] = true
		id := c.Licences[0].Licence.ID
		if x, ok := listed[c.Name]; ok {
			assert.Equal(t, x.licence, id, c.Name)
			assert.NotEmpty(t, x.why)
			continue
		}
		assert.True(t, permissive[id], "%s is under %s, which is not on the list", c.Name, id)
	}
	for name := range listed {
		assert.True(t, seen[name], "%s is listed but not linked any more", name)
	}
	for _, name := range []string{"std", "modernc.org/sqlite", "github.com/go-chi/chi/v5"} {
		assert.True(t, seen[name], name)
	}
	for _, name := range []string{"github.com/stretchr/testify", "pgregory.net/rapid", "honnef.co/go/tools"} {
		assert.False(t, seen[name], "%s is a tool of the tests and must not be linked", name)
	}
	var again bytes.Buffer
	require.NoError(t, run(binary, "1.2.3", false, &again))
	require.Equal(t, out.String(), again.String(), "the same binary, the same bill")

	var texts bytes.Buffer
	require.NoError(t, run(binary, "", true, &texts))
	for _, c := range b.Components {
		_, after, ok := strings.Cut(texts.String(), "\n"+c.Name+" "+c.Version+" (")
		require.True(t, ok, "%s has its notice", c.Name)
		text, _, _ := strings.Cut(after, strings.Repeat("-", 76))
		assert.Greater(t, len(text), 60, "%s: the whole text", c.Name)
	}
}

func TestLicencesAreToldFromTheirWords(t *testing.T) {
	for text, want := range map[string]string{
		"Permission is hereby granted,\n free of charge, to any person obtaining a copy": "MIT",
		"GNU GENERAL PUBLIC LICENSE Version 3":                                           "GPL",
		"GNU AFFERO GENERAL PUBLIC LICENSE":                                              "AGPL-3.0",
		"All rights reserved.":                                                           "",
		"Redistribution and use in source and binary forms, with or without":             "BSD-2-Clause",
		"Apache License\n   Version 2.0, January 2004":                                   "Apache-2.0",
	} {
		assert.Equal(t, want, Recognise(text))
	}
}
