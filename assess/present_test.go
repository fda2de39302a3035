package assess

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestPresent: the speed that was held is named again while it is near, but never above a
// ceiling that has come down since, as that of the measured throw does.
func TestPresent(t *testing.T) {
	t.Parallel()
	a := &Adviser{held: 3300}
	assert.Equal(t, RPM(3300), a.present(3310, 3400))
	assert.Equal(t, RPM(3290), a.present(3310, 3290))
	assert.Equal(t, RPM(3310), (&Adviser{}).present(3310, 3400))
	stepped := &Adviser{Lathe: Lathe{Steps: []RPM{3000, 3300}}, held: 3300}
	assert.Equal(t, RPM(3000), stepped.present(3250, 3290))
}

// TestPresentIsTheNearestStep: of two steps that a belt may slip to, it is the nearer one.
func TestPresentIsTheNearestStep(t *testing.T) {
	t.Parallel()
	a := &Adviser{Lathe: Lathe{Steps: []RPM{500, 530, 900}}}
	assert.Equal(t, RPM(530), a.present(530, 3400))
	assert.Equal(t, RPM(500), a.present(505, 3400))
}
