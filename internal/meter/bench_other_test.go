//go:build !unix

package meter

import "time"

// processorTime is not available here.
func processorTime() time.Duration { return 0 }
