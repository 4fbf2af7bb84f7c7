package invent

import (
	"fmt"
	"time"
)

// facility is the made-up code of the blood service in every donation number.
const facility = "Z0407"

// donation returns the next donation number of the year of at: 13 characters,
// facility, year, serial.
func (w *world) donation(at time.Time) string {
	year := at.Year() % 100
	w.serials[year]++
	return fmt.Sprintf("%s%02d%06d", facility, year, w.serials[year])
}

// checkCharacter gives the check character of a donation number by ISO/IEC
// 7064 MOD 37-2: the characters 0 to 9 and A to Z are worth 0 to 35 and * is
// worth 36; with the check character the sum of values times powers of two is 1
// modulo 37.
func checkCharacter(number string) byte {
	const alphabet = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
	sum := 0
	for i := range len(number) {
		c := number[i]
		value := int(c - '0')
		if c >= 'A' {
			value = int(c-'A') + 10
		}
		sum = (sum + value) * 2 % 37
	}
	return alphabet[(38-sum)%37]
}

// patientNumber spreads n over seven digits; distinct n give distinct numbers,
// as 7919 and ten million have no common factor.
func patientNumber(n int) string {
	return fmt.Sprintf("T%07d", (n*7919+1234567)%10_000_000)
}
