package gather

import (
	"context"
	"fmt"

	"bowroll/client"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// CatalogChanged says that a service has another catalog now than a kept plan was
// made with.
type CatalogChanged struct {
	Plan      string // name of the plan
	Then, Now string // revisions of the catalog
}

// Error says what to do about it as well.
func (c *CatalogChanged) Error() string {
	return fmt.Sprintf("%s was planned with catalog %s and this service has %s now: save the cycle as a new plan and issue its cards", c.Plan, c.Then, c.Now)
}

// SameCatalog makes sure that a kept plan was made with the catalog that the
// service has now, and fails with a [*CatalogChanged] where it was not. It is asked
// before [Cards] are gathered for a kept plan: they are drawn from the catalog of
// today, and with another one they would not be those that were issued.
func SameCatalog(ctx context.Context, to *client.Client, plan *bowrollv1.Plan) error {
	model, err := to.Model.GetModel(ctx, &bowrollv1.GetModelRequest{})
	if err != nil {
		return err
	}
	if now, then := model.GetProvenance().GetCatalogRevision(), plan.GetPinned().GetCatalogRevision(); now != then {
		return &CatalogChanged{plan.GetName(), then, now}
	}
	return nil
}
