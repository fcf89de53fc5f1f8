package main

import (
	"errors"
	"fmt"
	"net"
	"os"
	"strings"
	"time"

	"github.com/alecthomas/kong"
)

// commands are what bowrolld does.
type commands struct {
	Serve  serveCommand `cmd:"" default:"withargs" help:"Serve until told to stop (the default)."`
	Config struct {
		Check checkCommand `cmd:"" help:"Check flags, environment, file and catalog, print what would be used, and end."`
	} `cmd:"" help:"Look at the configuration."`
	Store  storeCommands `cmd:"" help:"Look after the store."`
	Access accessCommand `cmd:"" help:"Print who may call what, from the table that calls are checked against."`
}

// settings are the flags of every command, and the keys of the file.
type settings struct {
	File       kong.ConfigFlag `name:"config" type:"path" placeholder:"FILE" env:"BOWROLLD_CONFIG" help:"Read settings from a YAML file of flag names and values."`
	GRPC       string          `name:"grpc" default:"127.0.0.1:8471" env:"BOWROLLD_GRPC" help:"Address of the gRPC service; empty for none."`
	HTTP       string          `name:"http" default:"127.0.0.1:8472" env:"BOWROLLD_HTTP" help:"Address of the JSON service with /healthz and /readyz; empty for none."`
	Admin      string          `name:"admin" env:"BOWROLLD_ADMIN" help:"Address of metrics and profiles; none unless given."`
	Catalog    string          `name:"catalog" type:"path" placeholder:"FOLDER" env:"BOWROLLD_CATALOG" help:"Folder of YAML files with aircraft, boosters, sites and decks; the invented one that is built in unless given. A new store begins with it; then the store's own holds."`
	Store      string          `name:"store" placeholder:"FILE|postgres://…" env:"BOWROLLD_STORE" help:"Keep stock, plans, catalog changes, observed runs and sweeps in this file, made where there is none, or in a PostgreSQL database. Without it they are not served, and the catalog is read only."`
	Origins    []string        `name:"origin" placeholder:"ORIGIN" env:"BOWROLLD_ORIGIN" help:"Origin whose pages may call the JSON service, e.g. https://plans.example; may be given more than once."`
	Board      bool            `name:"board" default:"true" negatable:"" env:"BOWROLLD_BOARD" help:"Serve pages for people on the HTTP address, beside the JSON service."`
	Reflection bool            `name:"reflection" default:"true" negatable:"" env:"BOWROLLD_REFLECTION" help:"Let callers ask the gRPC service for the contract."`
	Grace      time.Duration   `name:"grace" default:"8s" env:"BOWROLLD_GRACE" help:"How long calls in hand may take to end at shutdown."`
	Cores      int             `name:"cores" default:"0" env:"BOWROLLD_CORES" help:"Computations at once; 0 is one for each processor."`
	LogLevel   string          `name:"log-level" default:"info" enum:"debug,info,warn,error" env:"BOWROLLD_LOG_LEVEL" help:"Least level logged: ${enum}."`
	LogFormat  string          `name:"log-format" default:"json" enum:"json,text" env:"BOWROLLD_LOG_FORMAT" help:"Form of the log on standard error: ${enum}."`
	Insecure   bool            `name:"insecure" env:"BOWROLLD_INSECURE" help:"Serve without encryption, or without asking who calls, on addresses that other machines reach."`

	secured
	bounded
	traced
	swept
	carried
}

// check returns everything that is wrong with the settings together.
func (s *settings) check() error {
	var faults []error
	for _, a := range []struct{ flag, address string }{{"grpc", s.GRPC}, {"http", s.HTTP}, {"admin", s.Admin}} {
		if a.address == "" {
			continue
		}
		host, _, err := net.SplitHostPort(a.address)
		if err != nil {
			faults = append(faults, fmt.Errorf("--%s is %q: must be host:port, e.g. 127.0.0.1:8471", a.flag, a.address))
			continue
		}
		if lacks := s.lacks(); !loopback(host) && lacks != "" && (!s.Insecure || a.flag == "admin") {
			hint := "or pass --insecure on a network that is trusted"
			if a.flag == "admin" {
				hint = "profiles are for this machine only"
			}
			faults = append(faults, fmt.Errorf("--%s is %q: must be on loopback, e.g. 127.0.0.1, without %s (%s)", a.flag, a.address, lacks, hint))
		}
	}
	if s.GRPC == "" && s.HTTP == "" {
		faults = append(faults, errors.New("--grpc and --http are both empty: one of them must be an address"))
	}
	if s.Grace < 0 || s.Grace > time.Minute {
		faults = append(faults, fmt.Errorf("--grace is %v: must be from 0s to 1m", s.Grace))
	}
	if s.Cores < 0 || s.Cores > 1024 {
		faults = append(faults, fmt.Errorf("--cores is %d: must be from 0 to 1024", s.Cores))
	}
	for _, origin := range s.Origins {
		scheme, host, found := strings.Cut(origin, "://")
		if !found || scheme != "http" && scheme != "https" || host == "" || strings.ContainsAny(host, "/*") {
			faults = append(faults, fmt.Errorf("--origin is %q: must be scheme://host or scheme://host:port, without a wildcard", origin))
		}
	}
	if s.Catalog != "" {
		if info, err := os.Stat(s.Catalog); err != nil || !info.IsDir() {
			faults = append(faults, fmt.Errorf("--catalog is %q: must be a folder that can be read", s.Catalog))
		}
	}
	faults = append(faults, s.secured.check(), s.bounded.check(), s.traced.check(), s.swept.check(), s.carried.check())
	return errors.Join(faults...)
}

// loopback says whether only this machine reaches host.
func loopback(host string) bool {
	if host == "localhost" {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}
