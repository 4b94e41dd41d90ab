package main

import "context"

func (b *bench) growth(ctx context.Context) error { return nil }
