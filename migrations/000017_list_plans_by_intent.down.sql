DROP INDEX plans_by_intent;
