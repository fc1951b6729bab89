//! The link against a real broker.

use std::process::{Command, Stdio};
use std::time::Duration;

use stowheat::service::link::{
    BrokerLink, Filter, Link, LinkConfig, LinkEvent, Message, Rank, SendError, Topic,
};
use tokio::time::timeout;

use crate::broker::{Broker, free_port};

const OPEN: &str = "topic readwrite #\n";

fn topic(text: &str) -> Topic {
    Topic::new(text).expect("a topic")
}

fn filter(text: &str) -> Filter {
    Filter::new(text).expect("a filter")
}

fn config(broker: &Broker, id: &str, subscriptions: &[&str]) -> LinkConfig {
    let mut config = LinkConfig::new("127.0.0.1", broker.port, id);
    config.subscriptions = subscriptions.iter().map(|text| filter(text)).collect();
    config.longest_wait_s = 2;
    config
}

fn start(config: LinkConfig) -> BrokerLink {
    BrokerLink::start(config.check().expect("settings that work"))
}

/// Waits for the first event that the check makes something of.
async fn until<T>(link: &BrokerLink, what: &str, check: impl Fn(LinkEvent) -> Option<T>) -> T {
    let wait = async {
        loop {
            if let Some(found) = check(link.next_event().await) {
                return found;
            }
        }
    };
    timeout(Duration::from_secs(20), wait).await.unwrap_or_else(|_| panic!("no {what} in 20 s"))
}

async fn up(link: &BrokerLink) {
    until(link, "connection", |event| (event == LinkEvent::Up).then_some(())).await;
}

async fn message(link: &BrokerLink, on: &str) -> (String, bool) {
    until(link, on, |event| match event {
        LinkEvent::Message { topic, payload, retained } if topic == on => {
            Some((String::from_utf8(payload).expect("text"), retained))
        }
        _ => None,
    })
    .await
}

/// Everything that the broker holds for a newcomer on a few filters.
async fn held(broker: &Broker, filters: &[&str]) -> Vec<(String, String)> {
    let observer = start(config(broker, "observer", filters));
    up(&observer).await;
    let mut messages = Vec::new();
    while let Ok(event) = timeout(Duration::from_millis(500), observer.next_event()).await {
        if let LinkEvent::Message { topic, payload, retained: true } = event {
            messages.push((topic, String::from_utf8(payload).expect("text")));
        }
    }
    observer.stop().await;
    messages.sort();
    messages
}

#[tokio::test]
async fn messages_arrive_and_a_clean_stop_is_told() {
    let Some(broker) = Broker::start("arrive", OPEN) else { return };
    let mut settings = config(&broker, "service", &["in/+"]);
    settings.will =
        Some(Message { topic: topic("own/state"), payload: b"lost".to_vec(), retained: true });
    let service = start(settings);
    let other = start(config(&broker, "other", &["own/state"]));
    up(&service).await;
    up(&other).await;
    other.publish_once(topic("in/top"), b"51.5".to_vec()).expect("sent");
    assert_eq!(message(&service, "in/top").await, ("51.5".into(), false));
    service.publish_latest(topic("own/state"), b"ready".to_vec(), Rank::Ready).expect("set");
    service.publish_latest(topic("own/state"), b"offline".to_vec(), Rank::Ready).expect("set");
    assert!(service.stop().await, "everything was flushed");
    assert_eq!(held(&broker, &["own/+"]).await, [("own/state".into(), "offline".into())]);
}

// Failure case 6: the broker is gone while the values go on changing.
#[tokio::test]
async fn after_a_broker_restart_each_topic_is_current_and_no_command_is_kept() {
    let Some(mut broker) = Broker::start("restart", OPEN) else { return };
    let mut settings = config(&broker, "service", &["in/top"]);
    settings.opening =
        vec![Message { topic: topic("own/state"), payload: b"init".to_vec(), retained: true }];
    let service = start(settings);
    up(&service).await;
    for step in 0..3 {
        service
            .publish_latest(topic("own/plan"), format!("plan {step}").into(), Rank::Value)
            .expect("set");
        service.publish_once(topic("own/set-point"), b"on".to_vec()).expect("sent");
    }
    service.publish_latest(topic("own/state"), b"ready".to_vec(), Rank::Ready).expect("set");
    broker.kill();
    until(&service, "loss", |event| matches!(event, LinkEvent::Down { .. }).then_some(())).await;
    for step in 3..100 {
        service
            .publish_latest(topic("own/plan"), format!("plan {step}").into(), Rank::Value)
            .expect("set");
        let refused = service.publish_once(topic("own/set-point"), b"on".to_vec());
        assert_eq!(refused, Err(SendError::Offline));
    }
    broker.run();
    up(&service).await;
    let other = start(config(&broker, "other", &["own/plan", "own/set-point"]));
    up(&other).await;
    let (plan, _) = message(&other, "own/plan").await;
    assert_eq!(plan, "plan 99");
    assert_eq!(
        held(&broker, &["own/+"]).await,
        [("own/plan".into(), "plan 99".into()), ("own/state".into(), "ready".into())],
        "no set-point is kept"
    );
    // Subscriptions are there again.
    other.publish_once(topic("in/top"), b"50".to_vec()).expect("sent");
    assert_eq!(message(&service, "in/top").await, ("50".into(), false));
    other.stop().await;
    service.stop().await;
}

// Failure case 7, shortened: the broker dies at random points under load.
#[tokio::test]
async fn the_link_survives_a_broker_that_keeps_dying() {
    let Some(mut broker) = Broker::start("dying", OPEN) else { return };
    let service = start(config(&broker, "service", &["in/top"]));
    for round in 0..5_u32 {
        up(&service).await;
        for step in 0..50 {
            let text = format!("{round}.{step}");
            service.publish_latest(topic("own/plan"), text.into(), Rank::Value).expect("set");
            let _busy = service.publish_once(topic("own/set-point"), b"on".to_vec());
        }
        tokio::time::sleep(Duration::from_millis(u64::from(round * 7))).await;
        broker.kill();
        until(&service, "loss", |event| matches!(event, LinkEvent::Down { .. }).then_some(()))
            .await;
        broker.run();
    }
    up(&service).await;
    service.publish_latest(topic("own/plan"), b"last".to_vec(), Rank::Value).expect("set");
    assert!(service.stop().await);
    assert_eq!(held(&broker, &["own/plan"]).await, [("own/plan".into(), "last".into())]);
}

/// Not a test of its own: the process that is killed by the next one.
#[tokio::test]
async fn service_to_be_killed() {
    let Some(port) = std::env::var("STOWHEAT_TEST_PORT").ok().and_then(|p| p.parse().ok()) else {
        return;
    };
    let mut settings = LinkConfig::new("127.0.0.1", port, "victim");
    settings.will =
        Some(Message { topic: topic("own/state"), payload: b"lost".to_vec(), retained: true });
    let service = start(settings);
    service.publish_latest(topic("own/state"), b"ready".to_vec(), Rank::Ready).expect("set");
    tokio::time::sleep(Duration::from_mins(1)).await;
}

// Failure case 1: nobody is left to say good-bye.
#[tokio::test]
async fn after_a_kill_the_broker_speaks_the_will() {
    let Some(broker) = Broker::start("will", OPEN) else { return };
    let other = start(config(&broker, "other", &["own/state"]));
    up(&other).await;
    let mut child = Command::new(std::env::current_exe().expect("this test"))
        .args(["link::service_to_be_killed", "--exact"])
        .env("STOWHEAT_TEST_PORT", broker.port.to_string())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("a child");
    assert_eq!(message(&other, "own/state").await.0, "ready");
    child.kill().expect("our own child");
    child.wait().expect("our own child");
    assert_eq!(message(&other, "own/state").await.0, "lost");
    other.stop().await;
}

// Failure case 14, the subscribing half.
#[tokio::test]
async fn a_refused_subscription_is_named() {
    let Some(broker) = Broker::start_refusing("refused", "in/#") else { return };
    let service = start(config(&broker, "service", &["in/top", "secret/meter"]));
    let refused = until(&service, "refusal", |event| match event {
        LinkEvent::SubscriptionRefused { filter } => Some(filter),
        _ => None,
    })
    .await;
    assert_eq!(refused.as_str(), "secret/meter");
    up(&service).await;
    service.publish_once(topic("in/top"), b"50".to_vec()).expect("sent");
    assert_eq!(message(&service, "in/top").await, ("50".into(), false), "the other one works");
    service.stop().await;
}

// Failure case 14, the publishing half: the broker acknowledges and drops.
#[tokio::test]
async fn a_dropped_publication_is_noticed_by_its_missing_echo() {
    let Some(broker) = Broker::start("echo", "topic read #\ntopic write in/#\n") else { return };
    let mut settings = config(&broker, "service", &["in/top"]);
    settings.echo = Some(topic("own/health"));
    let service = start(settings);
    up(&service).await;
    service.publish_latest(topic("own/health"), b"{}".to_vec(), Rank::Value).expect("set");
    let missing = until(&service, "missing echo", |event| match event {
        LinkEvent::EchoMissing { topic } => Some(topic),
        _ => None,
    })
    .await;
    assert_eq!(missing.as_str(), "own/health");
    service.stop().await;
}

// Failure case 13.
#[tokio::test]
async fn a_fat_retained_message_is_named_and_the_others_live() {
    let Some(broker) = Broker::start("fat", OPEN) else { return };
    let mut sender = Command::new("mosquitto_pub")
        .args(["-p", &broker.port.to_string(), "-t", "in/fat", "-r", "-s"])
        .stdin(Stdio::piped())
        .spawn()
        .expect("mosquitto-clients is installed beside mosquitto");
    let payload = vec![b'x'; 300_000];
    std::io::Write::write_all(&mut sender.stdin.take().expect("a pipe"), &payload).expect("piped");
    assert!(sender.wait().expect("our own child").success());
    let service = start(config(&broker, "service", &["in/+"]));
    let large = until(&service, "large message", |event| match event {
        LinkEvent::TooLarge { topic, bytes } => Some((topic, bytes)),
        LinkEvent::Down { cause } => panic!("the link broke: {cause}"),
        _ => None,
    })
    .await;
    assert_eq!(large, ("in/fat".into(), 300_000));
    service.publish_once(topic("in/top"), b"50".to_vec()).expect("sent");
    assert_eq!(message(&service, "in/top").await, ("50".into(), false));
    service.stop().await;
}

// Failure case 15: container and unit both run.
#[tokio::test]
async fn two_clients_of_one_name_are_found_out() {
    let Some(broker) = Broker::start("contested", OPEN) else { return };
    let first = start(config(&broker, "twin", &[]));
    up(&first).await;
    let second = start(config(&broker, "twin", &[]));
    let contested = |event| match event {
        LinkEvent::Contested { client_id } => Some(client_id),
        _ => None,
    };
    let found = tokio::select! {
        found = until(&first, "storm", contested) => found,
        found = until(&second, "storm", contested) => found,
    };
    assert_eq!(found, "twin");
    first.stop().await;
    second.stop().await;
}

// R1: no broker at all must not burn a core; failure case 33.
#[tokio::test]
async fn without_a_broker_attempts_are_few_and_stopping_is_quick() {
    let port = free_port();
    let mut settings = LinkConfig::new("127.0.0.1", port, "service");
    settings.longest_wait_s = 60;
    let service = start(settings);
    let mut attempts = 0;
    let count = async {
        loop {
            if let LinkEvent::Down { .. } = service.next_event().await {
                attempts += 1;
            }
        }
    };
    assert!(timeout(Duration::from_secs(3), count).await.is_err());
    assert!((1..=3).contains(&attempts), "{attempts}");
    let stopped = timeout(Duration::from_secs(1), service.stop()).await;
    assert_eq!(stopped, Ok(false), "nothing reached a broker");
}
