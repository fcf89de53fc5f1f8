package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"

	"google.golang.org/protobuf/encoding/protojson"
)

// web loads the JSON side of the service, of the echo behind the same gateway,
// and of the echo behind the gateway library as it comes.
func web(ctx context.Context, r *ring, p plan) ([]figure, error) {
	body, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(request())
	if err != nil {
		return nil, err
	}
	loaded := func(c *child) func() (turn, error) {
		return func() (turn, error) {
			transport := &http.Transport{MaxIdleConnsPerHost: p.callers, DisableCompression: true}
			defer transport.CloseIdleConnections()
			client := &http.Client{Transport: transport}
			return load(ctx, c, p.webCallers, p.turn, func() (caller, error) {
				return func(ctx context.Context) error {
					return post(ctx, client, "http://"+c.http+"/v1/takeoffs:compute", body)
				}, nil
			})
		}
	}
	turns, err := inTurns(p.rounds, loaded(r.service), loaded(r.echo), loaded(r.stock))
	if err != nil {
		return nil, err
	}
	cpu := func(of int) float64 {
		return middle(p.rounds, func(i int) float64 { return turns[of][i].cpuMicroseconds })
	}
	against := func(of int) float64 {
		return middle(p.rounds, func(i int) float64 { return turns[0][i].cpuMicroseconds / turns[of][i].cpuMicroseconds })
	}
	return []figure{
		{name: "json_cpu_vs_echo", value: against(1), unit: "x", bar: 1.3},
		{name: "json_cpu_vs_stock_gateway", value: against(2), unit: "x"},
		{name: "json_cpu", value: cpu(0), unit: "us"},
		{name: "json_cpu_echo", value: cpu(1), unit: "us"},
		{name: "json_cpu_stock_gateway", value: cpu(2), unit: "us"},
	}, nil
}

func post(ctx context.Context, client *http.Client, url string, body []byte) error {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, url, bytes.NewReader(body))
	if err != nil {
		return err
	}
	req.Header.Set("Content-Type", "application/json")
	resp, err := client.Do(req)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	if _, err := io.Copy(io.Discard, resp.Body); err != nil {
		return err
	}
	if resp.StatusCode != http.StatusOK {
		return fmt.Errorf("%s: %s", url, resp.Status)
	}
	return nil
}
