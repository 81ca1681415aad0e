-- What was noted of webhooks in changes stays: the log is not shortened.
DROP TABLE webhook_deliveries, webhook_secrets, webhooks;
