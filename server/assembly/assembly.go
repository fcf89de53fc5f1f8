// Package assembly puts the whole service together: the contract's rules, a
// catalog, the services that answer, and the server around them. bowrolld runs
// it on the network; the command line runs it in its own process.
package assembly

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"io/fs"
	"runtime"
	"runtime/debug"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"

	"bowroll/server"
	"bowroll/server/catalog"
	"bowroll/server/published"
	"bowroll/server/refusal"
	"bowroll/server/rpc"
	"bowroll/testdata"
)

// BuiltInCatalog is the invented catalog that comes with the program.
func BuiltInCatalog() (fs.FS, error) { return fs.Sub(testdata.Files, "catalog") }

// Services returns everything that answers, over one state of the catalog and
// the published values that the model is held against. A batch is computed on as
// many goroutines as cores says.
func Services(screen *refusal.Screen, snapshot *catalog.Snapshot, values []published.Row, cores int) server.Services {
	rules := screen.Validator()
	return server.Services{
		Takeoffs:   rpc.NewTakeoffs(rules, snapshot, cores),
		WindLimits: rpc.NewWindLimits(rules, snapshot, cores),
		Cycles:     rpc.NewCycles(rules, snapshot, cores),
		Catalog:    rpc.NewCatalog(snapshot),
		Model:      rpc.NewModel(snapshot, programVersion(), values, referenceCases()),
	}
}

// New reads the catalog and makes the server; screen and services of config and
// its cores are filled in where they are not set. Over a store the folder is the
// catalog that the store begins with; from then on the store's own holds.
func New(config server.Config, folder fs.FS, options ...Option) (*server.Server, error) {
	var err error
	if config.Screen == nil {
		if config.Screen, err = refusal.NewScreen(server.Contract()...); err != nil {
			return nil, err
		}
	}
	if config.Cores < 1 {
		config.Cores = runtime.GOMAXPROCS(0)
	}
	snapshot, err := catalog.Load(folder, config.Screen.Validator())
	if err != nil {
		return nil, err
	}
	values, err := publishedValues()
	if err != nil {
		return nil, err
	}
	if err := config.Registry.Register(buildInfo()); err != nil {
		return nil, err
	}
	var chosen choice
	for _, option := range options {
		option(&chosen)
	}
	if chosen.store == nil {
		return server.New(config, Services(config.Screen, snapshot, values, config.Cores))
	}
	if chosen.watch, err = rpc.NewDriftWatch(config.Registry); err != nil {
		return nil, err
	}
	current, err := chosen.open(config.Screen, snapshot, values, config.Cores, config.Registry)
	if err != nil {
		return nil, err
	}
	if held := current.kept.Snapshot().Revision(); held != snapshot.Revision() {
		config.Log.Info("the catalog of the store holds, which differs from the folder: bring the folder in with bowroll catalog import",
			zap.String("store", held), zap.String("folder", snapshot.Revision()))
	}
	config.Latest = current.services
	return server.New(config, current.services())
}

// referenceCases are the ones that come with the program, as JSON.
func referenceCases() string {
	text, err := testdata.Files.ReadFile("vectors/takeoff.json")
	if err != nil {
		return "" // it is embedded
	}
	return string(text)
}

// publishedValues are the ones that come with the program.
func publishedValues() ([]published.Row, error) {
	file, err := testdata.Files.Open("published/checks.csv")
	if err != nil {
		return nil, err
	}
	defer file.Close()
	return published.Read(file)
}

// programVersion is the version that the build recorded, "(devel)" where it
// recorded none.
func programVersion() string {
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		return info.Main.Version
	}
	return "(devel)"
}

// InProcess starts a server with the built-in catalog in this process and
// connects to it in memory. It listens on no address and logs nothing. The
// function returned stops it.
func InProcess(context.Context) (*grpc.ClientConn, func(), error) { return inProcess() }

func inProcess(options ...Option) (*grpc.ClientConn, func(), error) {
	folder, err := BuiltInCatalog()
	if err != nil {
		return nil, nil, err
	}
	s, err := New(server.Config{
		Log: zap.NewNop(), NewID: NewID, Registry: prometheus.NewRegistry(),
	}, folder, options...)
	if err != nil {
		return nil, nil, err
	}
	conn, err := s.Connect()
	if err != nil {
		return nil, nil, fmt.Errorf("connecting in memory: %w", err)
	}
	return conn, func() { _ = s.Close() }, nil
}

// NewID makes a request id: 16 hexadecimal digits at random.
func NewID() string {
	var b [8]byte
	rand.Read(b[:]) // never fails
	return hex.EncodeToString(b[:])
}
