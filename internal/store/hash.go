package store

import (
	"crypto/sha256"
	"encoding/hex"
)

// SHA256 returns the hash of content in lower-case hex, as the manifest holds it.
func SHA256(content []byte) string {
	sum := sha256.Sum256(content)
	return hex.EncodeToString(sum[:])
}
