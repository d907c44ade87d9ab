package phase

import "testing"

func BenchmarkRecommend90(b *testing.B) {
	p := cutting(1, 80)
	p.morning()
	b.ReportAllocs()
	for b.Loop() {
		Recommend(p.window, p.profile, p.plan, p.today())
	}
}
