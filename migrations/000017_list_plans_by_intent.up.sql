-- The list of an organisation's plans for one intent, newest first. Few plans are for a repair; without it a page of them
-- would be looked for among all the others.
CREATE INDEX plans_by_intent ON plans (org_id, intent, created_at DESC, id DESC);
